"""The rig file: its models, reading it with all its mistakes, and editing it."""
