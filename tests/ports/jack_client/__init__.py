"""Tests of `engine.ports.jack_client`."""
