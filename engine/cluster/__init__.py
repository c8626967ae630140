"""A rig on more than one machine."""
