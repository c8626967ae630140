"""Requests that play the show: scenes, set lists, panic, tempo, mutes."""

from pydantic import Field

from engine.protocol.fields import Name, Number, Request


class StackRequest(Request):
    """Base of what acts on the scenes of one player, or of the rest of the rig."""

    player: Name = Field("", description="the name of a player, or empty for whoever has what it names")


class RecallRequest(StackRequest):
    """Recall a scene."""

    scene: Number | Name = Field(description="a scene's number or name")


class NextRequest(StackRequest):
    """Recall the next scene of the set list."""


class BackRequest(StackRequest):
    """Recall the scene before."""


class FirstRequest(StackRequest):
    """Recall the first scene of the set list."""


class EntryRequest(StackRequest):
    """Recall the scene at an entry of the set list."""

    entry: Number = Field(description="the number of an entry of the set list; the first is 1")


class SetlistRequest(StackRequest):
    """Play by another set list."""

    setlist: Name = Field(description="the name of a set list")


class NextSongRequest(StackRequest):
    """Recall the first scene of the next song."""


class BackSongRequest(StackRequest):
    """Recall the first scene of this song or, if that is the present one, of the song before."""


class SongRequest(StackRequest):
    """Recall the first scene of a song."""

    song: Name = Field(description="the name of a song")


class TransposeRequest(StackRequest):
    """Transpose all play lines further, or no longer."""

    step: int = Field(ge=-24, le=24, description="semitones more than now, or 0 for none at all")


class PanicRequest(Request):
    """Silence every output, or one instrument."""

    instrument: Name | None = Field(None, description="the name of an instrument, or null for everything")


class ResendRequest(StackRequest):
    """Send the sounds of the current scene again: of all players, if none is named."""


class TapRequest(Request):
    """One tap of the tempo."""


class ClockRequest(Request):
    """Control the rig's own clock."""

    what: Name = Field(description="start, continue, stop, tempo or locate")
    value: float | Name | None = Field(
        None, description="beats per minute with tempo, a song position in sixteenths with locate"
    )


class TimecodeRequest(Request):
    """Control the rig's own time code."""

    what: Name = Field(description="start, stop or locate")
    value: float | Name | None = Field(None, description='a place such as "01:00:00:00", with locate')


class MuteRequest(Request):
    """Mute a named route."""

    route: Name = Field(description="the name of a route")


class UnmuteRequest(Request):
    """Unmute a named route."""

    route: Name = Field(description="the name of a route")


class HandoverRequest(Request):
    """Let the other engine of the network take charge."""
