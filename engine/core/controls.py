"""Which messages are commands: foot switches, program changes and the like that act on the rig.

The condition with the number wins over the one that says "any". A switch that has just acted is deaf for its guard
time, so that worn contacts which fire twice count once; the first counts at once.
"""

from collections.abc import Sequence
from typing import NamedTuple

from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, POLY_AFTERTOUCH, PROGRAM, SYSEX, is_press
from engine.rig.models import Control, When

SONG_SELECT = 0xF3
_HALF = 64  # MIDI 1.0 Table III: a switch is on from 64


class Trigger(NamedTuple):
    """What a message means to a control: which one, the number it carries (1 to 128), whether it is a press."""

    control: int
    number: int | None
    pressed: bool


class Command(NamedTuple):
    """What the player asked for."""

    do: str
    scene: int | str | None


def _key_of(when: When) -> tuple[int, int | bytes]:
    """What a condition looks at, as `_looked_up` finds it in a message; -1 is any number."""
    if when.program is not None:
        return PROGRAM, -1 if when.program == "any" else when.program - 1
    if when.song is not None:
        return SONG_SELECT, -1 if when.song == "any" else when.song - 1
    if when.controller is not None:
        return CONTROLLER, when.controller
    if when.note is not None:
        return NOTE_ON, when.note
    assert when.sysex is not None
    return SYSEX, bytes.fromhex(when.sysex)


def _looked_up(message: bytes) -> tuple[int, int | bytes] | None:
    status = message[0] & 0xF0 if message[0] < 0xF0 else message[0]
    if status in (NOTE_OFF, POLY_AFTERTOUCH):
        return NOTE_ON, message[1]  # a note condition owns all that belongs to its key
    if status in (PROGRAM, SONG_SELECT, CONTROLLER, NOTE_ON):
        return status, message[1]
    return (SYSEX, message) if status == SYSEX else None


class Switchboard:
    """The controls of one input. Loop only."""

    def __init__(self, controls: Sequence[tuple[int, Control]]) -> None:
        """`controls`: those of this input, each with its index in the rig."""
        self._controls = dict(controls)
        self._by_key = {_key_of(control.when): index for index, control in reversed(controls)}
        self._acted_at: dict[tuple[int, int | None], int] = {}
        self._last_value: dict[tuple[int, int], int] = {}

    def find(self, message: bytes) -> Trigger | None:
        """The control that owns this message, or None."""
        key = _looked_up(message)
        if key is None:
            return None
        index = self._by_key.get(key)
        if index is None and key[0] in (PROGRAM, SONG_SELECT):
            index = self._by_key.get((key[0], -1))
        if index is None:
            return None
        number = message[1] + 1 if key[0] in (PROGRAM, SONG_SELECT) else None
        return Trigger(index, number, self._is_press(index, message))

    def act(self, now: int, trigger: Trigger) -> Command | None:
        """The command, or None if nothing is to be done: a release, or a bounce within the guard time (ns)."""
        if not trigger.pressed:
            return None
        control = self._controls[trigger.control]
        switch = (trigger.control, trigger.number)
        acted_at = self._acted_at.get(switch)
        if acted_at is not None and now - acted_at < control.guard:
            return None
        self._acted_at[switch] = now
        return Command(control.do, trigger.number if control.scene is None else control.scene)

    def passes(self, trigger: Trigger) -> bool:
        """Whether the message is routed as well."""
        return self._controls[trigger.control].passes

    def _is_press(self, index: int, message: bytes) -> bool:
        kind = message[0] & 0xF0
        if kind in (NOTE_OFF, NOTE_ON):
            return is_press(message)
        if kind == POLY_AFTERTOUCH:
            return False
        if kind != CONTROLLER:
            return True
        return self._crosses(index, message)

    def _crosses(self, index: int, message: bytes) -> bool:
        """A press is a value that comes from below the threshold; a pedal swept on above it is none.

        Some switches send the same value at each press and nothing between (common practice, no source):
        an equal value above the threshold is a press, too.
        """
        threshold = self._controls[index].when.at_least or _HALF
        channel, value = message[0] & 0x0F, message[2]
        before = self._last_value.get((index, channel), 0)
        self._last_value[index, channel] = value
        return value >= threshold and (before < threshold or value == before)


def switchboards(controls: Sequence[Control], inputs: Sequence[str]) -> tuple[Switchboard | None, ...]:
    """One switchboard for each input that has controls."""
    boards = []
    for name in inputs:
        own = [(index, control) for index, control in enumerate(controls) if control.input == name]
        boards.append(Switchboard(own) if own else None)
    return tuple(boards)
