"""Tests of `engine.live.socket`."""
