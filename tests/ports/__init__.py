"""Tests of `engine.ports`."""
