"""Tests of `engine.protocol`."""
