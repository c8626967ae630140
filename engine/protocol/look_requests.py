"""Requests that ask about the show and its rig, and change nothing."""

from typing import Final

from pydantic import Field

from engine.protocol.fields import FilePath, Name, Number, Request

_TRACED: Final = 3 * 1024  # characters of a message of 1,024 bytes in hexadecimal, with its spaces
_AGES: Final = 1e9  # seconds


class StatusRequest(Request):
    """The state of the show, all of it."""


class WatchRequest(Request):
    """From now on this connection is sent the messages that pass, and the engine's notices."""


class FollowRequest(Request):
    """From now on this connection is sent frames with what has changed, and says only {"events": true or false}."""

    events: bool = Field(False, description="true if the frames are to hold the messages that pass, else false")


class RigRequest(Request):
    """The current rig, or what has changed in it."""

    since: Number | None = Field(None, description="the revision of the rig that the asker has, or null for all of it")


class FiltersRequest(Request):
    """All filters, with the JSON schema of their settings; and that of play lines and what scenes send."""


class ExplainRequest(Request):
    """What a message would do in a scene."""

    scene: Number = Field(description="a scene's number")
    input: Name = Field(description="the name of an input")
    message: str = Field(
        max_length=_TRACED,
        description="one whole MIDI message of up to 1,024 bytes in hexadecimal, such as 90 3C 40",
    )


class PortsRequest(Request):
    """The ports of the computer."""


class DifferencesRequest(Request):
    """What differs between two scenes."""

    first: Number = Field(description="a scene's number")
    second: Number = Field(description="a scene's number")


class KeepAtHomeRequest(Request):
    """Write the last seconds of the show to a new file in the player's home folder."""

    last_s: float = Field(gt=0, lt=_AGES, description="a number of seconds above 0")
    file: Name = Field(
        pattern=r"^[^/\x00]+\.(mid|jsonl)$",
        description="the name of a file that ends in .mid or .jsonl, without a folder",
    )


class KeepRequest(Request):
    """Write the last seconds of the show to a file."""

    last_s: float = Field(gt=0, lt=_AGES, description="a number of seconds above 0")
    file: FilePath = Field(pattern="^/", description="an absolute path")
