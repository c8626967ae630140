"""Sees to it that each note arrives with its own low bits of velocity, whoever else plays on its channel.

High resolution velocity (CA-031): controller 88 gives the low seven bits of the next note-on or note-off of its
channel; other messages may come in between. It passes like any controller. Where it would then be that of another note,
or its own note goes elsewhere, the note is given its own prefix: one of 0 if it has none.
"""

from collections.abc import Container, Iterable, Sequence
from typing import NamedTuple

from engine.core.cable.output_cable import Unit
from engine.midi.controllers import VELOCITY_PREFIX
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON


class _Prefix(NamedTuple):
    """The low bits, and the outputs whose routes do not let them through."""

    low: int
    stopped: frozenset[int]


def is_prefix(message: bytes) -> bool:
    """Whether this belongs to the next note of its channel."""
    return message[0] & 0xF0 == CONTROLLER and message[1] == VELOCITY_PREFIX


class VelocityPrefixes:
    """Loop only. Inputs and outputs are indices."""

    def __init__(self) -> None:
        self.any = False  # whether any prefix is out or waits; the engine looks at it for each note
        self._own: dict[tuple[int, int], _Prefix] = {}  # input, channel -> that of its next note
        self._out: dict[tuple[int, int], int] = {}  # output, channel -> what its next note would be given

    def hear(self, source: int, prefix: bytes, units: Iterable[tuple[int, Unit]], reach: Iterable[int]) -> None:
        """It was sent as these units. `reach`: the outputs that it may reach, whatever the filters let through."""
        passed = [(output, message) for output, unit in units for message in unit if is_prefix(message)]
        stopped = frozenset(reach).difference(output for output, _ in passed)
        self._own[source, prefix[0] & 0x0F] = _Prefix(prefix[2], stopped)
        for output, message in passed:
            self._out[output, message[0] & 0x0F] = message[2]
        self.any = True

    def forget(self, source: int) -> None:
        """This input's next notes have no prefix yet."""
        for where in [where for where in self._own if where[0] == source]:
            del self._own[where]

    def skip(self, source: int, message: bytes) -> None:
        """A control has taken this; if it is a note, its prefix goes with it."""
        if message[0] & 0xE0 == NOTE_OFF:  # note-off or note-on
            self._own.pop((source, message[0] & 0x0F), None)

    def give(
        self, source: int, note: bytes, units: Sequence[tuple[int, Unit]], full: Container[int]
    ) -> list[tuple[int, Unit]]:
        """The same deliveries of a note, each note with what it must be given; on a `full` output as they are."""
        own = self._own.pop((source, note[0] & 0x0F), _Prefix(0, frozenset()))
        lows = {output: 0 if output in own.stopped else own.low for output, _ in units}
        given = [
            (output, unit if output in full else self.with_low(output, unit, lows[output])) for output, unit in units
        ]
        self.any = bool(self._own or self._out)
        return given

    def with_low(self, output: int, unit: Unit, low: int = 0) -> Unit:
        """A unit for an output, whose notes have these low bits there."""
        messages: list[bytes] = []
        for message in unit:
            if message[0] & 0xE0 == NOTE_OFF:
                channel = message[0] & 0x0F
                # before a note-on of velocity 0 it says nothing
                says = message[0] & 0xF0 != NOTE_ON or message[2]
                if self._out.pop((output, channel), 0) != low and says:
                    messages.append(bytes((CONTROLLER | channel, VELOCITY_PREFIX, low)))
            messages.append(message)
        return tuple(messages)
