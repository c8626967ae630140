"""Tests of `engine.rig.edit`."""
