"""From the text of a rig file to a rig, or to a list of everything that is wrong with it."""
