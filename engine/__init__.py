"""Bayleaf: a laptop as the router of a large MIDI set-up."""
