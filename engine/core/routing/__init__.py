"""The way of a message from an input to the outputs."""
