"""Tests of `engine.rig.read`."""
