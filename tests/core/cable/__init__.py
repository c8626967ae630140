"""Tests of `engine.core.cable`."""
