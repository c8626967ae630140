"""What each channel of each output was last sent: controllers, bends, pressures, and notes that no key holds.

Hands and feet move these values. A scene that no longer feeds them brings them back to rest: to what the rig or a
control set there, or else to the values of RP-015.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Final, NamedTuple

from engine.midi.controllers import BANKS, FOR_NEXT_NOTE, LSB_OF, MODE_MESSAGES, MSB_OF, PARAMETERS, RESTS
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, NOTE_OFF, NOTE_ON, PITCH_BEND, POLY_AFTERTOUCH, is_release
from engine.midi.rest_values import rest_of

#: output, channel 0 to 15
Channel = tuple[int, int]
#: input, and its channel, 0 to 15: what one pair of hands plays on
Hand = tuple[int, int]

_NO_VALUES = PARAMETERS.union(BANKS, FOR_NEXT_NOTE, MODE_MESSAGES)


class Moved(NamedTuple):
    """Something that can be off rest: output index, and the bytes that name it (status, and number or key)."""

    output: int
    what: bytes

    @property
    def channel(self) -> Channel:
        """The channel that it is on."""
        return self.output, self.what[0] & 0x0F


class Move:
    """What is moved, by which message, and whether that is to its rest; `low`: the LSB that a new MSB sets to 0."""

    __slots__ = ("at_rest", "low", "moved", "sent")

    def __init__(self, moved: Moved, sent: bytes, at_rest: bool, low: Moved | None = None) -> None:
        self.moved, self.sent, self.at_rest, self.low = moved, sent, at_rest, low


#: what something was last moved to: the input that moved it, what came in there, what was sent (a named tuple would
#: take several times as long to make, for each message of a wheel)
Sent = tuple[int, bytes, bytes]


NOTHING_SENT: Final[Mapping[Moved, Sent]] = {}


def sent_of(source: int, message: bytes, moves: tuple[Move, ...]) -> Mapping[Moved, Sent]:
    """What these moves, made by an input's message, have left off rest."""
    if not moves:
        return NOTHING_SENT
    return {move.moved: (source, message, move.sent) for move in moves if not move.at_rest}


def hand_of(source: int, message: bytes) -> Hand:
    """The hand that this message of an input comes from."""
    return source, message[0] & 0x0F


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
    moves: tuple[Move, ...] = ()
    for message in messages:
        if message[0] & 0xE0 == NOTE_OFF:
            continue  # a note
        rest = rest_of(message)
        if rest is None and not position_of(message):
            continue
        low = None
        if message[0] & 0xF0 == CONTROLLER and message[1] in LSB_OF:
            low = _moved(output, bytes((message[0], LSB_OF[message[1]])))
        moves += (Move(_moved(output, name_of(message)), message, rest == message, low),)
    return moves


@lru_cache(maxsize=1 << 14)  # a named tuple takes three times as long to make
def _moved(output: int, what: bytes) -> Moved:
    return Moved(output, what)


def made_of(output: int, messages: Iterable[bytes]) -> tuple[Move, ...]:
    """Notes that a filter made from a pedal, a clock or the like: no key holds them, so they count as off rest."""
    moves: tuple[Move, ...] = ()
    for message in messages:
        if message[0] & 0xE0 == NOTE_OFF:  # note-off or note-on
            note = _moved(output, bytes((NOTE_ON | message[0] & 0x0F, message[1])))
            moves += (Move(note, message, is_release(message)),)
    return moves


def name_of(message: bytes) -> bytes:
    """The bytes that name what this message moves."""
    return message[:2] if message[0] & 0xF0 in (CONTROLLER, POLY_AFTERTOUCH) else message[:1]


def is_low(message: bytes) -> bool:
    """Whether this, a message or what names it, is the LSB of a controller of 14 bits."""
    return len(message) > 1 and message[0] & 0xF0 == CONTROLLER and message[1] in MSB_OF


def is_at_rest(message: bytes) -> bool:
    """Whether this brings what it moves to rest."""
    return rest_of(message) == message


def is_so(sent: bytes, before: bytes | None) -> bool:
    """Whether the channel was sent this already, or is there at rest."""
    return sent == before or (before is None and is_at_rest(sent))


class SentValues:
    """Loop only. What is at rest is not kept.

    `values`: what hands and feet have moved; `lows`: whether any LSB was ever sent, so that MSBs must be looked after;
    `keeps`: whether anything was ever set to stay.
    """

    def __init__(self) -> None:
        self.values: dict[Moved, Sent] = {}
        self.lows = self.keeps = False
        self._set_up: dict[Moved, bytes] = {}  # what the rig sets on an instrument
        self._commanded: dict[Moved, bytes] = {}  # what a scene or a control has sent, to stay

    def move(self, source: int, message: bytes, moves: Iterable[Move]) -> None:
        """This input's message was sent and moved these. Where something else was set to stay, rest is a move, too."""
        values = self.values
        kept = self.keeps  # mostly nothing
        for move in moves:
            if move.at_rest and not (kept and self._kept(move.moved)):
                values.pop(move.moved, None)
            else:
                values[move.moved] = (source, message, move.sent)
            if self.lows and move.low is not None:
                values.pop(move.low, None)
        if is_low(message):
            self.lows = True

    def set_up(self, moves: Iterable[Move]) -> None:
        """The rig has set these on an instrument."""
        self._keep(self._set_up, moves)

    def command(self, moves: Iterable[Move]) -> None:
        """A scene or a control has sent these."""
        self._keep(self._commanded, moves)

    def _keep(self, kept: dict[Moved, bytes], moves: Iterable[Move]) -> None:
        for move in moves:
            self.keeps = True
            self.values.pop(move.moved, None)
            if move.at_rest:
                kept.pop(move.moved, None)
            else:
                kept[move.moved] = move.sent
            if move.low is not None:
                self.values.pop(move.low, None)
                kept.pop(move.low, None)

    def reset(self, channel: Channel) -> None:
        """All controllers of this channel were reset (RP-015): what has no rest stays."""
        for kept in (self.values, self._set_up, self._commanded):
            for moved in [each for each in kept if each.channel == channel and _is_reset(each)]:
                del kept[moved]

    def now(self, moved: Moved) -> bytes | None:
        """What it was last moved to; None if it is at rest, or was never moved."""
        last = self.values.get(moved)
        return last[2] if last is not None else self._kept(moved)

    def value(self, output: int, controller: bytes) -> int | None:
        """The value of this message's controller that is in force there; None if it has no rest and was never moved."""
        sent = self.now(Moved(output, controller[:2]))
        return sent[2] if sent else RESTS.get(controller[1])

    def is_in_force(self, output: int, message: bytes) -> bool:
        """Whether what this message moves is there already."""
        return is_so(message, self.now(Moved(output, name_of(message))))

    def is_commanded(self, moved: Moved) -> bool:
        """Whether a scene or a control has set it, and no hand has moved it since."""
        return moved in self._commanded and moved not in self.values

    def _kept(self, moved: Moved) -> bytes | None:
        return self._commanded.get(moved) or self._set_up.get(moved)

    def movers(self) -> set[int]:
        """The inputs that have moved anything off rest."""
        return {source for source, _, _ in self.values.values()}

    def moved(self) -> list[Moved]:
        """All that hands and feet have moved off rest."""
        return [*self.values]

    def moved_on(self, channels: Collection[Channel]) -> list[Moved]:
        """The same of these channels alone."""
        outputs = {output for output, _ in channels}  # mostly one: that is cheaper to ask for
        return [moved for moved in self.values if moved[0] in outputs and moved.channel in channels]

    def mover(self, moved: Moved) -> dict[Hand, bytes]:
        """The hand that moved it last, and its message."""
        last = self.values.get(moved)
        return {} if last is None else {hand_of(last[0], last[1]): last[1]}

    def rest(self, moved: Moved) -> bytes | None:
        """It comes to rest: the message that brings it there; None if there is none, and it stays."""
        message = self._kept(moved) or rest_for(moved)
        if message is not None:
            self.values.pop(moved, None)
        return message

    def rest_all(self, output: int | None = None, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """As `Ledger.rest_all`. What has no rest stays as it is."""

        def is_there(moved: Moved) -> bool:
            return output in (None, moved.output) and channel in (None, moved.channel[1])

        for moved in [*filter(is_there, self.values)]:
            message = self.rest(moved)
            if message is not None:
                yield moved.output, message
        for moved in [*filter(is_there, self._commanded)]:
            message = self._set_up.get(moved) or rest_for(moved)
            if message is not None:
                del self._commanded[moved]
                yield moved.output, message

    def forget(self, output: int) -> None:
        """The instruments on this output may have forgotten everything."""
        for kept in (self.values, self._set_up, self._commanded):
            for moved in [each for each in kept if each.output == output]:
                del kept[moved]

    def off_rest(self) -> int:
        """How many pedals, bends, wheels and pressures are off rest."""
        return sum(rest_for(moved) is not None for moved in {**self.values, **self._commanded})


def rest_for(moved: Moved) -> bytes | None:
    """The message that brings this to its resting value; None if it has none."""
    if moved.what[0] & 0xF0 == NOTE_ON:
        return bytes((NOTE_OFF | moved.what[0] & 0x0F, moved.what[1], 64))
    return rest_of((moved.what + bytes(2))[:3])


def _is_reset(moved: Moved) -> bool:
    """Whether Reset All Controllers resets this (RP-015)."""
    return moved.what[0] & 0xF0 != NOTE_ON and rest_for(moved) is not None
