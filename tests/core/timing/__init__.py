"""Tests of `engine.core.timing`."""
