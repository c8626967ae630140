"""Tests of `engine.core.control`."""
