"""The cable of one output: what leaves now, what waits, and what state the receiver is in."""
