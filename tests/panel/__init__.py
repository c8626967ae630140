"""Tests of `engine.panel`."""
