"""One output's cable: what goes now, what waits, and what the receiver was told."""
