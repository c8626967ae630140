"""Tests of `engine.cluster.pure`."""
