"""What each channel of each output was last sent: controllers, bends, pressures, and notes that no key holds.

Hands and feet move these values. A scene that no longer feeds them brings them back to rest: to what the rig or a
control set there, or else to the values of RP-015.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from engine.midi.controllers import BANKS, FOR_NEXT_NOTE, LSB_OF, MODE_MESSAGES, PARAMETERS, RESTS
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, NOTE_OFF, NOTE_ON, PITCH_BEND, POLY_AFTERTOUCH, is_release
from engine.midi.rest_values import rest_of

#: output, channel 0 to 15
Channel = tuple[int, int]

_NO_VALUES = PARAMETERS.union(BANKS, FOR_NEXT_NOTE, MODE_MESSAGES)


class Moved(NamedTuple):
    """Something that can be off rest: output index, and the bytes that name it (status, and number or key)."""

    output: int
    what: bytes

    @property
    def channel(self) -> Channel:
        """The channel that it is on."""
        return self.output, self.what[0] & 0x0F


class Move(NamedTuple):
    """What is moved, by which message (empty for an LSB that its MSB moves), and whether that is to its rest."""

    moved: Moved
    sent: bytes
    at_rest: bool


class Told(NamedTuple):
    """What something was last moved to: the input that moved it, what came in there, what was sent."""

    source: int
    message: bytes
    sent: bytes


def position_of(message: bytes) -> bytes:
    """The bytes that name what a hand or foot has moved and left in a place: a pedal, a wheel, a fader.

    Empty for all else. The pressure of one key is no place: it ends with its note.
    """
    kind = message[0] & 0xF0
    if kind == CONTROLLER:
        return b"" if message[1] in _NO_VALUES else message[:2]
    return message[:1] if kind in (AFTERTOUCH, PITCH_BEND) else b""


def moves_of(output: int, messages: Iterable[bytes]) -> tuple[Move, ...]:
    """What these messages move on an output. A new MSB sets its LSB to 0 (MIDI 1.0 p. 12)."""
    moves: list[Move] = []
    for message in messages:
        if rest_of(message) is None and not position_of(message):
            continue
        moves.append(Move(Moved(output, _name(message)), message, is_at_rest(message)))
        if message[0] & 0xF0 == CONTROLLER and message[1] in LSB_OF:
            moves.append(Move(Moved(output, bytes((message[0], LSB_OF[message[1]]))), b"", True))
    return tuple(moves)


def made_of(output: int, messages: Iterable[bytes]) -> tuple[Move, ...]:
    """Notes that a filter made from a pedal, a clock or the like: no key holds them, so they count as off rest."""
    return tuple(
        Move(Moved(output, bytes((NOTE_ON | message[0] & 0x0F, message[1]))), message, is_release(message))
        for message in messages
        if message[0] & 0xE0 == NOTE_OFF  # note-off or note-on
    )


def _name(message: bytes) -> bytes:
    return message[:2] if message[0] & 0xF0 in (CONTROLLER, POLY_AFTERTOUCH) else message[:1]


def is_at_rest(message: bytes) -> bool:
    """Whether this brings what it moves to rest."""
    return rest_of(message) == message


class ToldValues:
    """Loop only. What is at rest is not kept."""

    def __init__(self) -> None:
        self._told: dict[Moved, Told] = {}
        self._set_up: dict[Moved, bytes] = {}  # what the rig sets on an instrument
        self._commanded: dict[Moved, bytes] = {}  # what a scene or a control has sent, to stay

    def move(self, source: int, message: bytes, moves: Iterable[Move]) -> None:
        """This input's message was sent and moved these. Where something else was set to stay, rest is a move, too."""
        told = self._told
        for moved, sent, at_rest in moves:
            if at_rest and self._kept(moved) is None:
                told.pop(moved, None)
            else:
                told[moved] = Told(source, message, sent)

    def set_up(self, moves: Iterable[Move]) -> None:
        """The rig has set these on an instrument."""
        self._keep(self._set_up, moves)

    def command(self, moves: Iterable[Move]) -> None:
        """A scene or a control has sent these."""
        self._keep(self._commanded, moves)

    def _keep(self, kept: dict[Moved, bytes], moves: Iterable[Move]) -> None:
        for moved, sent, at_rest in moves:
            self._told.pop(moved, None)
            if at_rest:
                kept.pop(moved, None)
            else:
                kept[moved] = sent

    def reset(self, channel: Channel) -> None:
        """All controllers of this channel were reset (RP-015): what has no rest stays."""
        for kept in (self._told, self._set_up, self._commanded):
            for moved in [each for each in kept if each.channel == channel and _is_reset(each)]:
                del kept[moved]

    def now(self, moved: Moved) -> bytes | None:
        """What it was last moved to; None if it is at rest, or was never moved."""
        told = self._told.get(moved)
        return told.sent if told is not None else self._kept(moved)

    def value(self, output: int, controller: bytes) -> int | None:
        """The value of this message's controller that is in force there; None if it has no rest and was never moved."""
        sent = self.now(Moved(output, controller[:2]))
        return sent[2] if sent else RESTS.get(controller[1])

    def is_commanded(self, moved: Moved) -> bool:
        """Whether a scene or a control has set it, and no hand has moved it since."""
        return moved in self._commanded and moved not in self._told

    def _kept(self, moved: Moved) -> bytes | None:
        return self._commanded.get(moved) or self._set_up.get(moved)

    def moved(self) -> list[tuple[Moved, Told]]:
        """All that hands and feet have moved, and what to."""
        return [*self._told.items()]

    def mover(self, moved: Moved) -> dict[int, bytes]:
        """The input that moved it last, and its message."""
        told = self._told.get(moved)
        return {} if told is None else {told.source: told.message}

    def rest(self, moved: Moved) -> bytes | None:
        """It comes to rest: the message that brings it there; None if there is none, and it stays."""
        message = self._kept(moved) or rest_for(moved)
        if message is not None:
            self._told.pop(moved, None)
        return message

    def rest_all(self, output: int | None = None, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """As `Ledger.rest_all`."""
        for kept in (self._told, self._commanded):
            for moved in [m for m in kept if output in (None, m.output) and channel in (None, m.channel[1])]:
                del kept[moved]
                message = self._kept(moved) or rest_for(moved)
                if message is not None:
                    yield moved.output, message

    def forget(self, output: int) -> None:
        """The instruments on this output may have forgotten everything."""
        for kept in (self._told, self._set_up, self._commanded):
            for moved in [each for each in kept if each.output == output]:
                del kept[moved]

    def off_rest(self) -> int:
        """How many pedals, bends, wheels and pressures are off rest."""
        return sum(rest_for(moved) is not None for moved in {**self._told, **self._commanded})


def rest_for(moved: Moved) -> bytes | None:
    """The message that brings this to its resting value; None if it has none."""
    if moved.what[0] & 0xF0 == NOTE_ON:
        return bytes((NOTE_OFF | moved.what[0] & 0x0F, moved.what[1], 64))
    return rest_of((moved.what + bytes(2))[:3])


def _is_reset(moved: Moved) -> bool:
    """Whether Reset All Controllers resets this (RP-015)."""
    return moved.what[0] & 0xF0 != NOTE_ON and rest_for(moved) is not None
