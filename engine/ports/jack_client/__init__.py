"""JACK through one client with many ports: a C extension, and the ports of Bayleaf's that stand on it."""
