"""What a rig file may say, as models."""
