"""The base class of errors that are shown to the player, and how long ones are cut."""


class UserError(Exception):
    """An error in the rig, a file, a port or a request, not in the program; the text is for the player."""


def shortened(text: str, remedy: str, most: int = 5) -> str:
    """The first lines of a long text; `remedy` says where the others are."""
    lines = text.split("\n")
    if len(lines) <= most + 1:
        return text
    return "\n".join((*lines[:most], f"… and {len(lines) - most} more lines; {remedy}"))
