"""Tests of `engine.live`."""
