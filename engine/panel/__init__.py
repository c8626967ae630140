"""The front panel: a process of its own that serves the page and speaks to a running engine's socket, nothing else."""
