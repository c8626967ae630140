"""MIDI itself: message kinds, byte streams, files, names. No I/O."""
