"""What MIDI is: message kinds, byte streams, names. No I/O."""
