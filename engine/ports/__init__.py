"""Ports: adapters to what carries MIDI (the system's ports, byte devices, memory)."""
