"""The running show; the only place with trio."""
