"""Tests of `engine.instruments`."""
