"""Tests of `presets`."""
