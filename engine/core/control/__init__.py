"""Who commands, and what: switches, set lists, show control and our own SysEx."""
