"""Tests of `engine.cluster.endpoints`."""
