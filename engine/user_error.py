"""The base class of errors that are shown to the player."""


class UserError(Exception):
    """An error in the rig, a file, a port or a request, not in the program; the text is for the player."""
