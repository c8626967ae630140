"""Adapters to what carries MIDI: system ports, byte devices, memory."""
