"""What the user wrote: the rig file, its models, its errors."""
