"""Tests of `engine.live.edit`."""
