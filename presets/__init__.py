"""Data only: the demo rig, starter rigs, sound lists."""
