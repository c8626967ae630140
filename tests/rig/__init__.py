"""Tests of `engine.rig`."""
