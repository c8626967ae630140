"""Edits of a rig file that keep its comments and layout, its saved versions, and differences between rigs."""
