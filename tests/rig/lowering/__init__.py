"""Tests of `engine.rig.lowering`."""
