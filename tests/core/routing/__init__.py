"""Tests of `engine.core.routing`."""
