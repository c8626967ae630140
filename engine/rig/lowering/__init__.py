"""What a rig file means: scenes with all that they inherit, and play lines as routes through chains of filters."""
