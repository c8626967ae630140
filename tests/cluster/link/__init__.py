"""Tests of `engine.cluster.link`."""
