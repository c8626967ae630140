"""Tests of `engine.offline`."""
