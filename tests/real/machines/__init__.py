"""Tests with several machines, made of network namespaces."""
