"""Ports that are plugged into another machine, at both ends of the link."""
