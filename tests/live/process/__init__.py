"""Tests of `engine.live.process`."""
