"""Finds the controls of an input that a message belongs to.

A condition with one number wins over a range, and a range over "any"; a condition with a channel wins over one without,
and a control for some scenes, songs or players over one for all.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple, Protocol

from engine.midi.controllers import ON_FROM
from engine.midi.key_messages import key_code, key_name, read_key
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, POLY_AFTERTOUCH, PROGRAM, SYSEX, is_press
from engine.rig.models.control import Control, When

SONG_SELECT: Final = 0xF3
KEY: Final = 0  # the kind of a keyboard's key, which has no status
_ANY: Final = -1

Zone = range | str


class Playing(NamedTuple):
    """What is in force: number and name of the scene, and the name of the song, if any."""

    scene: int
    name: str
    song: str | None = None


class Plays(Protocol):
    """Somebody who plays: the player's name, "" for the rest of the rig, and what is in force for them."""

    @property
    def name(self) -> str: ...

    @property
    def playing(self) -> Playing | None:
        """None before their first scene."""
        ...


class InForce:
    """What the controls of an input look at. `own`: who plays by this input; `players`: all of the rig, by name."""

    def __init__(self, own: Plays, players: Mapping[str, Plays]) -> None:
        self._own, self._players = own, players

    def counts_for(self, control: Control) -> list[str]:
        """Those whom a press of a control is for, as things are: "" is the rest of the rig; empty if it is for nobody.

        A player's input is theirs alone. Elsewhere a control may be for several players, each by what they play.
        """
        own = self._own
        if not control.players or own.name in control.players:
            chosen = [own]
        else:
            chosen = [] if own.name else [self._players[name] for name in control.players if name in self._players]
        return [each.name for each in chosen if _holds(control, each.playing)]


class Contact(NamedTuple):
    """What one switch sends: status without channel, number (a SysEx whole), channel (0 to 15; 0 if it has none).

    Of a keyboard's key: KEY and its code.
    """

    kind: int
    number: int | bytes
    channel: int

    @property
    def place(self) -> str:
        """A controller, a note or a key as the rig file calls it; empty for messages that have a number in words."""
        if self.kind == KEY and isinstance(self.number, int):
            return f"key {key_name(self.number)}"
        name = {CONTROLLER: "controller", NOTE_ON: "note"}.get(self.kind)
        return f"{name} {self.number!r}" if name else ""


class Owner(NamedTuple):
    """A control that a message belongs to. `zone`: the values that mean pressed, or which way a knob turns."""

    control: Control
    zone: Zone


def contact_of(message: bytes) -> Contact | None:
    """The switch that a message comes from; all messages of a key belong to it. None if no condition can match it."""
    status = message[0] & 0xF0
    if status in (CONTROLLER, PROGRAM, NOTE_ON):
        return Contact(status, message[1], message[0] & 0x0F)
    if status in (NOTE_OFF, POLY_AFTERTOUCH):
        return Contact(NOTE_ON, message[1], message[0] & 0x0F)
    if message[0] == SONG_SELECT:
        return Contact(SONG_SELECT, message[1], 0)
    if message[0] != SYSEX:
        return None
    key = read_key(message)
    return Contact(SYSEX, message, 0) if key is None else Contact(KEY, key.code, 0)


def closes(message: bytes, before: int | None, zone: range) -> bool | None:
    """Whether a message closes a contact (True), opens it (False) or does neither; `before`: the controller's value.

    A pedal that moves within the zone does neither. Some switches send the same value at each press and nothing in
    between (common practice, no source): an equal value within the zone closes the contact again.
    """
    kind = message[0] & 0xF0
    if kind == POLY_AFTERTOUCH:
        return None
    if kind in (NOTE_ON, NOTE_OFF):
        return is_press(message)
    if message[0] == SYSEX and (key := read_key(message)) is not None:
        return key.down
    if kind != CONTROLLER:
        return True
    value = message[2]
    if value not in zone:
        return False
    return True if before is None or before not in zone or value == before else None


def turned(value: int) -> str | None:
    """Which way a knob that sends steps was turned: 1 to 63 is up, 65 to 127 down (common practice, no source)."""
    return None if value in (0, ON_FROM) else "up" if value < ON_FROM else "down"


def _holds(control: Control, playing: Playing | None) -> bool:
    """Whether this is among the scenes and songs that a control is for."""
    if playing is None:
        return not control.scenes and not control.songs
    in_scene = not control.scenes or any(one in playing[:2] for one in control.scenes)
    return in_scene and (not control.songs or playing.song in control.songs)


class ControlConditions:
    """The controls of one input, indexed by the contacts that they look at."""

    def __init__(self, controls: Iterable[Control]) -> None:
        self.controls = sorted(controls, key=_breadth)
        self._by_key: dict[tuple[int, int | bytes], list[Owner]] = {}
        for control in self.controls:
            for key in _keys_of(control.when):
                self._by_key.setdefault(key, []).append(Owner(control, _zone_of(control.when)))

    def look_at(self, contact: Contact) -> bool:
        """Whether any condition looks at this contact, in any scene and on any channel."""
        return contact[:2] in self._by_key or (contact.kind, _ANY) in self._by_key

    def owners(self, contact: Contact, in_force: InForce) -> list[Owner]:
        """For each zone of values the narrowest control here, and those for other kinds of press of the same switch."""
        found = (*self._by_key.get(contact[:2], ()), *self._by_key.get((contact.kind, _ANY), ()))
        first: dict[Zone, Owner] = {}
        return [
            owner
            for owner in found
            if _is_on_channel(owner.control.when, contact)
            and in_force.counts_for(owner.control)
            and _same_switch(first.setdefault(owner.zone, owner), owner)
        ]


def _is_on_channel(when: When, contact: Contact) -> bool:
    return when.channel is None or when.channel - 1 == contact.channel


def _same_switch(one: Owner, other: Owner) -> bool:
    a, b = one.control.when, other.control.when
    return one is other or (a.note, a.program, a.song, a.channel) == (b.note, b.program, b.song, b.channel)


def _keys_of(when: When) -> Sequence[tuple[int, int | bytes]]:
    """Kind and number of the contacts that a condition looks at; -1 is any number."""
    if when.sysex is not None:
        return [(SYSEX, bytes.fromhex(when.sysex))]
    if when.controller is not None:
        return [(CONTROLLER, when.controller)]
    if when.key is not None:
        return [(KEY, key_code(when.key))]
    for kind, found, first in ((PROGRAM, when.program, 1), (SONG_SELECT, when.song, 1), (NOTE_ON, when.note, 0)):
        if found == "any":
            return [(kind, _ANY)]
        if found is not None:
            return [(kind, number - first) for number in range(found[0], found[1] + 1)]
    return []


def _zone_of(when: When) -> Zone:
    if when.turn is not None:
        return when.turn
    if when.controller is None:
        return range(128)
    least = when.at_least if when.at_least is not None else 0 if when.at_most is not None else ON_FROM
    return range(least, 128 if when.at_most is None else when.at_most + 1)


def _breadth(control: Control) -> tuple[int, bool, bool]:
    """A sort key: the narrower a control, the smaller."""
    when = control.when
    found = when.program or when.song or when.note
    numbers = 1 << 16 if found == "any" else found[1] - found[0] if found is not None else 0
    return numbers, when.channel is None, not (control.scenes or control.songs or control.players)
