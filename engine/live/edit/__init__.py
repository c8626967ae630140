"""Edits of the rig that plays: played at once, saved with proof."""
