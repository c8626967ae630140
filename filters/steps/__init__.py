"""What filters do with each message, apart from their settings, so that it can be compiled ahead of time."""
