"""The memory of connected instruments: identification, dumps, their files and their handshake. No trio, no driver."""
