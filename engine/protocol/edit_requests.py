"""Requests that edit the current rig, and that undo edits."""

from pydantic import Field

from engine.protocol.fields import Facts, Links, Name, Number, Request, Tables


class ListScenesRequest(Request):
    """The scenes of the current rig."""


class CopySceneRequest(Request):
    """Copy a scene to a new number."""

    number: Number = Field(description="a scene's number")
    new: Number = Field(description="the number of the copy")
    name: Name | None = Field(None, description="the name of the copy")


class RenameSceneRequest(Request):
    """Rename a scene."""

    number: Number = Field(description="a scene's number")
    name: Name = Field(description="the new name")


class RenumberSceneRequest(Request):
    """Renumber a scene."""

    number: Number = Field(description="a scene's number")
    new: Number = Field(description="the new number")


class MoveSceneRequest(Request):
    """Move a scene within the file."""

    number: Number = Field(description="a scene's number")
    new: Number | None = Field(None, description="the number of the scene that is to follow it, or null for the end")


class DeleteSceneRequest(Request):
    """Delete a scene."""

    number: Number = Field(description="a scene's number")


class StoreSceneRequest(Request):
    """Store the routes and sounds that are in force as a scene."""

    number: Number = Field(description="a scene's number")
    name: Name | None = Field(None, description="the scene's name")
    player: Name = Field("", description="the name of a player, or empty for whose scene it is")


class UndoRequest(Request):
    """Undo the last edit."""


class RedoRequest(Request):
    """Redo the edit that was undone last."""


class EditRequest(Request):
    """Base of edits of one scene that may depend on what their author last saw."""

    scene: Number = Field(description="a scene's number")
    revision: Number | None = Field(None, description="the revision of the rig that the edit is made for")
    words: Name | None = Field(None, description="what that does, for the answer and for undo")


class ConnectionRequest(EditRequest):
    """Base of connecting an input with an output and disconnecting them."""

    source: Name = Field(alias="from", description="the name of an input")
    to: Name = Field(description="the name of an output")


class JoinRequest(ConnectionRequest):
    """Connect an input with an output."""


class PartRequest(ConnectionRequest):
    """Disconnect an input from an output."""


class ChainRequest(EditRequest):
    """Give a route of a scene another chain of filters."""

    route: Number = Field(description="the place of a route in its scene; the first is 0")
    through: Links = Field(description="a list of filters, each with its settings, and names of chains")


class SplitRequest(EditRequest):
    """Give one output of a route a route of its own, through the same filters."""

    route: Number = Field(description="the place of a route in its scene; the first is 0")
    to: Name = Field(description="the name of one of its outputs")


class BurstRequest(EditRequest):
    """Give a scene another burst: the bank selects and program changes that a recall sends."""

    burst: Tables = Field(description="a list of steps")


class LinesRequest(EditRequest):
    """Give a scene other play lines."""

    play: Tables = Field(description="a list of lines, as in the rig file")


class FactsRequest(EditRequest):
    """Give a scene another cue, text, tempo or transposition."""

    facts: Facts = Field(description="values by key, as in the rig file; null takes a key away")


class LearnRequest(Request):
    """Add a control to the rig, and save it unless other edits are unsaved."""

    control: Facts = Field(description="a control as in the rig file")
