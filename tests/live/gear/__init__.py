"""Tests of `engine.live.gear`."""
