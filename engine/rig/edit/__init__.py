"""Changes of a rig file that keep its comments and layout, its versions, and what differs."""
