"""Tests of `engine.midi`."""
