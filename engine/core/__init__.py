"""How a message finds its outputs. No I/O, no clock of its own: time is an argument."""
