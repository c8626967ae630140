"""Tests of `engine.cluster`."""
