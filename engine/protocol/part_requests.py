"""Requests that edit any part of the current rig by its place: ports, instruments, songs, set lists, controls."""

from typing import Annotated, Any, ClassVar, Final

from pydantic import Field

from engine.protocol.fields import Name, Number, Request, Tables, Unread

Section = Annotated[str, Field(max_length=20)]
_CSV: Final = 1 << 20  # characters
_SECTION = "inputs, outputs, instruments, chains, songs or setlists"


class ValueAt(Request):
    """A value and its place in the rig file."""

    path: Annotated[list[str | int], Field(min_length=1, max_length=10)]
    value: Any = None


class PutValuesRequest(Request):
    """Put values into their places in the rig, in one step."""

    values: Annotated[list[ValueAt], Field(min_length=1, max_length=1000)] = Field(
        description='a list of {"path": the keys and list places of a value, from 0, "value": or null to take it away}'
    )
    words: Name | None = Field(None, description="what that does, for the answer and for undo")
    revision: Number | None = Field(None, description="the revision of the rig that the edit is made for")


class RenamePartRequest(Request):
    """Rename a port, an instrument, a chain, a song or a set list."""

    section: Section = Field(description=_SECTION)
    name: Name = Field(description="its name")
    new: Name = Field(min_length=1, description="its new name")


class RemovePartRequest(Request):
    """Remove a port, an instrument, a chain, a song or a set list, with all that is nothing without it."""

    section: Section = Field(description=_SECTION)
    name: Name = Field(description="its name")


class MovePartRequest(Request):
    """Move an entry of a list of the rig to another place."""

    section: Section = Field(description="songs, setlists, players, controls, tallies or displays")
    place: Number = Field(description="the place of the entry; the first is 0")
    new: Number = Field(description="its new place")
    revision: Number | None = Field(None, description="the revision of the rig that the edit is made for")


class AddSceneRequest(Request):
    """Add a scene."""

    number: Number | None = Field(None, description="its number, or null for the next one that is free")
    name: Name | None = Field(None, description="its name")
    like: Number | None = Field(None, description="the number of the scene that it is like")
    play: Tables = Field([], description="its play lines, as in the rig file")


class HeardAt(Request):
    """A message and its time (ns)."""

    at: Number
    message: Annotated[str, Field(max_length=3072)]


class LearnedRequest(Request):
    """Which control a switch asks for that was pressed a few times."""

    input: Name = Field(description="the name of the input")
    heard: Annotated[list[HeardAt], Field(max_length=2000)] = Field(
        description='a list of {"at": nanoseconds, "message": a message in hexadecimal}'
    )


class ListenRequest(Request):
    """The ports of the computer that this rig does not use, and what arrives at them from now on."""


class SoundsRequest(Request):
    """Give an instrument the sounds of a list in CSV."""

    long_texts: ClassVar = ("csv",)

    instrument: Name = Field(description="the name of an instrument")
    csv: Annotated[str, Field(max_length=_CSV)] | Unread = Field(
        description="a text with the columns msb, lsb, program, name"
    )
