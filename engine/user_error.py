"""What is told to the player as it stands, wherever it comes from."""


class UserError(Exception):
    """A fault of the rig, a file, a port or a request, not of the program; the text is for the player."""
