"""What other processes ask of a running engine, and what they get."""
