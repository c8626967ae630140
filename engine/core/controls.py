"""Which messages are commands: foot switches, program changes and the like that act on the rig.

The condition with one number wins over a range, a range over "any". A switch that has just acted is deaf for its guard
time, so that worn contacts which fire twice count once; the first counts at once.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from engine.core.switches import LONG, SHORT, Switch
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, POLY_AFTERTOUCH, PROGRAM, SYSEX, is_press
from engine.rig.models import Control, When

SONG_SELECT: Final = 0xF3
_HALF: Final = 64  # MIDI 1.0 Table III: a switch is on from 64
_ANY: Final = -1

_Key = tuple[int, int | bytes]


class Command(NamedTuple):
    """What the player asked for; `control` is what it was asked with, if with a control."""

    do: str
    scene: int | str | None
    control: Control | None = None


class Taken(NamedTuple):
    """A message that belongs to a control: whether it is routed as well, and what it commands."""

    passes: bool
    commands: tuple[Command, ...]


def _keys_of(when: When) -> Iterable[_Key]:
    """What a condition looks at, as `_looked_up` finds it in a message; -1 is any number."""
    if when.sysex is not None:
        return [(SYSEX, bytes.fromhex(when.sysex))]
    if when.controller is not None:
        return [(CONTROLLER, when.controller)]
    for kind, found, first in ((PROGRAM, when.program, 1), (SONG_SELECT, when.song, 1), (NOTE_ON, when.note, 0)):
        if found == "any":
            return [(kind, _ANY)]
        if found is not None:
            return [(kind, number - first) for number in range(found[0], found[1] + 1)]
    return []


def _looked_up(message: bytes) -> _Key | None:
    status = message[0] & 0xF0 if message[0] < 0xF0 else message[0]
    if status in (NOTE_OFF, POLY_AFTERTOUCH):
        return NOTE_ON, message[1]  # a note condition owns all that belongs to its key
    if status in (PROGRAM, SONG_SELECT, CONTROLLER, NOTE_ON):
        return status, message[1]
    return (SYSEX, message) if status == SYSEX else None


class Switchboard:
    """The controls of one input. Loop only. `scene` is the number and name of the one in force, or None."""

    def __init__(self, controls: Sequence[tuple[int, Control]]) -> None:
        """`controls`: those of this input, each with its index in the rig."""
        self._controls = dict(controls)
        self._by_key: dict[_Key, list[int]] = {}
        for index, control in sorted(controls, key=lambda each: _breadth(each[1].when)):
            for key in _keys_of(control.when):
                self._by_key.setdefault(key, []).append(index)
        self._acted_at: dict[tuple[int, int | None], int] = {}
        self._last_value: dict[tuple[int, int], int] = {}
        self._switches: dict[tuple[object, ...], Switch] = {}
        self._presses: dict[tuple[object, ...], list[int]] = {}  # switch -> controls that tell its presses apart
        for index, control in controls:
            self._presses.setdefault(_switch_of(control), []).append(index)
        self._presses = {
            switch: listed
            for switch, listed in self._presses.items()
            if any(self._controls[index].when.press for index in listed)
        }

    @property
    def due(self) -> int | None:
        """When `tick` next has something, or None."""
        return min((switch.due for switch in self._switches.values() if switch.due is not None), default=None)

    def take(self, now: int, message: bytes, scene: tuple[int, str] | None) -> Taken | None:
        """What a message means here; None if it belongs to no control that holds in this scene."""
        owners = self._owners(message, scene)
        if not owners:
            return None
        commands: list[Command] = []
        told: set[tuple[object, ...]] = set()
        for index in owners:
            switch = _switch_of(self._controls[index])
            if switch in self._presses:
                if switch not in told:
                    told.add(switch)
                    commands += self._told(switch, self._contact(now, switch, index, message), scene)
            elif self._is_press(index, message):
                commands += self._act(now, index, message)
        return Taken(any(self._controls[index].passes for index in owners), tuple(commands))

    def tick(self, now: int, scene: tuple[int, str] | None) -> list[Command]:
        """Presses that time has completed: long ones, and short ones that have not become double."""
        return [
            command for key, switch in self._switches.items() for command in self._told(key, switch.tick(now), scene)
        ]

    def _owners(self, message: bytes, scene: tuple[int, str] | None) -> list[int]:
        key = _looked_up(message)
        if key is None:
            return []
        found = self._by_key.get(key, []) or (self._by_key.get((key[0], _ANY), []) if key[0] != SYSEX else [])
        held = [index for index in found if self._holds(index, message, scene)]
        if key[0] == CONTROLLER or not held:
            return held
        # of several conditions on one number the narrowest counts, with all that tell presses of its switch apart
        switch = _switch_of(self._controls[held[0]])
        if switch not in self._presses:
            return held[:1]
        return [index for index in held if _switch_of(self._controls[index]) == switch]

    def _holds(self, index: int, message: bytes, scene: tuple[int, str] | None) -> bool:
        control = self._controls[index]
        channel = control.when.channel
        if channel is not None and message[0] < SYSEX and message[0] & 0x0F != channel - 1:
            return False
        return not control.scenes or (scene is not None and any(one in scene for one in control.scenes))

    def _act(self, now: int, index: int, message: bytes) -> Iterator[Command]:
        """The command, unless this is a bounce within the guard time (ns)."""
        control = self._controls[index]
        number = message[1] + 1 if control.when.program is not None or control.when.song is not None else None
        switch = (index, number)
        acted_at = self._acted_at.get(switch)
        if control.when.turn is None:
            if acted_at is not None and now - acted_at < control.guard:
                return
            self._acted_at[switch] = now
        yield Command(control.do, number if control.scene is None else control.scene, control)

    def _contact(self, now: int, key: tuple[object, ...], index: int, message: bytes) -> list[str]:
        switch = self._switches.get(key)
        if switch is None:
            controls = [self._controls[each] for each in self._presses[key]]
            kinds = frozenset(control.when.press or SHORT for control in controls)
            longest = next((control for control in controls if control.when.press == LONG), controls[0])
            switch = Switch(
                kinds,
                max(control.guard for control in controls),
                longest.hold,
                max(control.between for control in controls),
            )
            self._switches[key] = switch
        if message[0] & 0xF0 == POLY_AFTERTOUCH:
            return switch.tick(now)
        down = is_press(message) if message[0] & 0xF0 != CONTROLLER else self._is_on(index, message[2])
        return switch.contact(now, down)

    def _told(self, key: tuple[object, ...], presses: list[str], scene: tuple[int, str] | None) -> list[Command]:
        return [
            Command(control.do, control.scene, control)
            for press in presses
            for control in (self._controls[index] for index in self._presses[key])
            if (control.when.press or SHORT) == press
            and (not control.scenes or (scene is not None and any(one in scene for one in control.scenes)))
        ]

    def _is_press(self, index: int, message: bytes) -> bool:
        kind = message[0] & 0xF0
        if kind in (NOTE_OFF, NOTE_ON):
            return is_press(message)
        if kind == POLY_AFTERTOUCH:
            return False
        if kind != CONTROLLER:
            return True
        turn = self._controls[index].when.turn
        if turn is not None:
            return 0 < message[2] < _HALF if turn == "up" else message[2] > _HALF
        return self._crosses(index, message)

    def _is_on(self, index: int, value: int) -> bool:
        when = self._controls[index].when
        least = when.at_least if when.at_least is not None else 0 if when.at_most is not None else _HALF
        return least <= value <= (127 if when.at_most is None else when.at_most)

    def _crosses(self, index: int, message: bytes) -> bool:
        """A press is a value that comes into the range from outside; a pedal swept on within it is none.

        Some switches send the same value at each press and nothing between (common practice, no source):
        an equal value within the range is a press, too.
        """
        channel, value = message[0] & 0x0F, message[2]
        before = self._last_value.get((index, channel))
        self._last_value[index, channel] = value
        if not self._is_on(index, value):
            return False
        return before is None or value == before or not self._is_on(index, before)


def _breadth(when: When) -> int:
    """How many numbers a condition takes: the narrower one comes first."""
    for found in (when.program, when.song, when.note):
        if found == "any":
            return 1 << 16
        if found is not None:
            return found[1] - found[0]
    return 0


def _switch_of(control: Control) -> tuple[object, ...]:
    """Controls of one switch have this in common."""
    when = control.when
    return (when.controller, when.note, when.at_least, when.at_most, when.channel, when.turn, when.program, when.song)


def switchboards(controls: Sequence[Control], inputs: Sequence[str]) -> tuple[Switchboard | None, ...]:
    """One switchboard for each input that has controls."""
    boards = []
    for name in inputs:
        own = [(index, control) for index, control in enumerate(controls) if control.input == name]
        boards.append(Switchboard(own) if own else None)
    return tuple(boards)
