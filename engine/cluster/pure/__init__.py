"""The rules between machines, without I/O: who leads, who lends, what a standby repeats."""
