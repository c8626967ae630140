"""Tests of `engine.rig.models`."""
