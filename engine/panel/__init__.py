"""The front panel: a separate process that serves the page and talks to a running engine's socket only."""
