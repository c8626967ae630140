"""Edits of the current rig: adopted at once, saved with proof."""
