"""Tests of `engine.core`."""
