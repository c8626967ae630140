"""Reading a rig file: from its text to a rig, or to a list of all its mistakes."""
