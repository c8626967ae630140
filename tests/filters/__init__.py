"""Tests of `filters`."""
