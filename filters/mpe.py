"""Turns an MPE zone into one channel, one channel into a zone, or a zone into another one.

`from = { members = [2, 8], bend = 48 }`, `to = { channel = 1, bend = 2 }`: each end is either a zone, by its first and
last member channel, or one channel; `bend` is how many semitones its bend reaches (48 for a zone and 2 for a channel,
unless it says otherwise). A zone that begins at 2 has manager channel 1, one that ends at 15 has 16; `manager_bend` is
how many semitones the bend of that channel reaches, 2 unless it says otherwise. Bends are scaled, so that a note sounds
as high behind the filter as before it, if the bend there reaches.

Where a zone becomes one channel, all notes play, and `note = "last"`, "highest" or "lowest" says whose bend, pressure
and timbre (74) the channel has; after the last note its bend is at the centre. With `pressure = "keys"` the pressure of
each note is that of its key, for gear that knows key pressure. Where notes need members, each takes the
one that has been silent longest, and shares one only if none is free; pressure of a key becomes that of its member.

Pedals, programs and all other controllers are those of the manager, or of the one channel; on members they are not
passed, and neither are bend ranges and zone configurations (RPN 0 and 6), which are each end's own. Channels that
belong to neither end pass.
"""

from collections.abc import Callable
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from engine.midi.kinds import CONTROLLER, SYSEX
from engine.midi.mpe import MANAGER_RANGE, MEMBER_RANGE, Reaches, Zone, zone
from filters import parameters
from filters._mpe_members import Members
from filters._mpe_to_zone import ToZone
from filters._mpe_zone_to_channel import ZoneToChannel
from filters._values import Channel, whole
from filters.registry import FilterSettings, Since, Step, Surroundings

KEEPS_STATE = True

#: what each end has of its own; a step is built at each recall, so this is read once
_CONFIGURATION = parameters.Settings(filter="parameters", drop=("rpn 0/0", "rpn 0/6"))


def _members(found: Any) -> Any:
    check = whole("a channel", 1, 16)
    if not isinstance(found, list | tuple) or len(found) != 2:
        raise ValueError("two channels, [first, last]")
    first, last = map(check, found)
    if first > last:
        raise ValueError("two channels, [first, last], the lower one first")
    zone(first, last)
    return (first, last)


#: first and last member channel of a zone, and how far a bend reaches in semitones
MemberEnds = Annotated[tuple[int, int], BeforeValidator(_members)]
Semitones = Annotated[int, BeforeValidator(whole("semitones", 1, 96))]


class MpeEnd(BaseModel):
    """Either members or a channel; the ranges of the bends in semitones, 1 to 96."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    members: MemberEnds | None = None
    channel: Channel | None = None
    bend: Semitones | None = None
    manager_bend: Semitones | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.members is None) == (self.channel is None):
            raise ValueError("either members = [first, last] or channel = N")
        if self.manager_bend is not None and self.members is None:
            raise ValueError("manager_bend goes with members; for a channel write bend")
        return self

    @property
    def zone(self) -> Zone | None:
        """The zone, if it is one."""
        return zone(*self.members) if self.members is not None else None

    @property
    def reach(self) -> int:
        """How far its bend reaches, in semitones."""
        return self.bend or (MEMBER_RANGE if self.members is not None else MANAGER_RANGE)

    @property
    def reaches(self) -> Reaches:
        """How far the bends of members, or of the channel, and of the manager reach, in semitones."""
        return Reaches(self.reach, self.manager_bend or MANAGER_RANGE)


class Settings(FilterSettings):
    """Two ends, at least one of them a zone."""

    filter: Annotated[Literal["mpe"], Since(2)]
    source: Annotated[MpeEnd, Field(alias="from")]
    to: MpeEnd
    note: Literal["last", "highest", "lowest"] = "last"
    pressure: Literal["channel", "keys"] = "channel"

    @model_validator(mode="after")
    def _a_zone(self) -> Self:
        if self.source.zone is None and self.to.zone is None:
            raise ValueError("at least one end must be a zone, with members = [first, last]")
        extra = sorted(self.model_fields_set & {"note", "pressure"})
        if extra and self.to.zone is not None:
            raise ValueError(f"{extra[0]} goes with a zone that becomes one channel; leave it out here")
        return self


def build(settings: Settings, surroundings: Surroundings) -> Step:
    """One of the two directions, behind a filter that holds back what configures the other end."""
    came = _came_as(settings.source, surroundings)
    theirs, ours = _channels(came), _channels(settings.to)
    play = _direction(settings, came, surroundings)
    common = came.channel or (came.zone.manager if came.zone else 1)
    configures = parameters.build(_CONFIGURATION)

    def mpe(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= SYSEX:
            return (message,)
        channel = (message[0] & 0x0F) + 1
        if channel not in theirs:
            return () if channel in ours else (message,)
        if channel != common or message[0] & 0xF0 != CONTROLLER:
            return play(message, now)
        passing = (one for one in configures(message, now) if isinstance(one, bytes))
        return tuple(given for one in passing for given in play(one, now))

    return mpe


def _came_as(source: MpeEnd, surroundings: Surroundings) -> MpeEnd:
    """What comes in: as the input itself has announced its zone, if it has."""
    zone = source.zone
    announced = surroundings.announced(zone.manager) if zone is not None else None
    if announced is None:
        return source
    first, last, bend, manager_bend = announced
    return MpeEnd(members=(first, last), bend=bend, manager_bend=manager_bend)


def _channels(end: MpeEnd) -> frozenset[int]:
    return frozenset(end.zone.channels if end.zone is not None else (end.channel or 0,))


def _direction(
    settings: Settings, source: MpeEnd, surroundings: Surroundings
) -> Callable[[bytes, int], tuple[bytes, ...]]:
    to, positions = settings.to, surroundings.positions()
    if to.zone is not None:
        members = Members(to.zone.members, surroundings)
        return ToZone(source.zone, source.reaches, to.zone, to.reaches, members, positions).play
    assert source.zone is not None, "at least one end is a zone"
    by_keys, channel = settings.pressure == "keys", to.channel or 1
    return ZoneToChannel(source.zone, source.reaches, channel, to.reach, settings.note, by_keys, positions).play
