"""The network between machines and what goes over it."""
