"""Tests of `engine.cli`."""
