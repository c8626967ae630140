"""The state of the instruments on one output, as far as it follows from what was sent: notes, values, programs.

Two engines that play one output in turn each keep one. When an engine takes over, the machine that has the output
brings its own state to that engine's: notes that sound in both go on sounding, and no others.
"""

from collections.abc import Container, Iterable, Iterator
from typing import Final, NamedTuple

from engine.core.cable.channel_sounds import ChannelSounds
from engine.core.cable.parameters import Parameters
from engine.core.cable.replaceable_values import VOID_WITH, Slot, resets, slot
from engine.core.varint import Packer, Unpacker
from engine.midi.controllers import BANKS, FOR_NEXT_NOTE, MODE_MESSAGES, MSB_OF, PARAMETERS
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, PROGRAM, SYSEX, is_whole
from engine.midi.rest_values import rest_of

#: a note that is down only in the new state is pressed if it is no older than this (ns): later it would be a mistake
YOUNG: Final = 50_000_000
#: controllers that leave no state behind which could be sent again
_PASSING: Final = FOR_NEXT_NOTE.union(MODE_MESSAGES)
_VERSION: Final = 1

_Place = tuple[int, int]  # channel 0 to 15, key


class _Key(NamedTuple):
    """A key that is down: its last press, and when that was (ns). A note-off ends it, however often it was pressed."""

    message: bytes
    since: int


class ReceiverState:
    """It has no clock of its own: times are nanoseconds of the caller's clock."""

    def __init__(self) -> None:
        self._keys: dict[_Place, _Key] = {}
        self._values: dict[Slot, bytes] = {}
        self._parameters = Parameters()
        self.chosen = ChannelSounds()

    # What was sent

    def note(self, now: int, message: bytes) -> None:
        """This message was sent at this time."""
        status = message[0]
        if status >= SYSEX:
            return
        kind = status & 0xF0
        if kind == NOTE_ON and message[2]:
            self._keys[status & 0x0F, message[1]] = _Key(message, now)
        elif kind in (NOTE_ON, NOTE_OFF):
            self._keys.pop((status & 0x0F, message[1]), None)
        elif kind == PROGRAM:
            self.chosen.note(message)
        elif kind == CONTROLLER:
            self._turn(message)
        else:
            self._values[slot(message) or ()] = message

    def _turn(self, message: bytes) -> None:
        status, number = message[0], message[1]
        channel = status & 0x0F
        if number in BANKS:
            self.chosen.note(message)
        elif resets(message):
            # RP-015; whatever has no resting value stays unchanged
            for place in [each for each in self._values if each[0] & 0x0F == channel and rest_of(_at_zero(each))]:
                del self._values[place]
            self._parameters.reset(channel)
        elif number in PARAMETERS:
            self._parameters.turn(channel, number, message[2])
        elif number not in _PASSING:
            self._values[status, number] = message
            self._values.pop(VOID_WITH.get((status, number), ()), None)

    # What follows

    @property
    def held(self) -> int:
        """How many keys are down."""
        return len(self._keys)

    def copy(self) -> "ReceiverState":
        """An independent copy."""
        made = ReceiverState()
        for now, message in self._messages():
            made.note(now, message)
        return made

    def releases(self) -> list[bytes]:
        """What silences the instruments and sets them to rest: one note-off a key, velocity 64 (MIDI 1.0 p. 10)."""
        resting = (message for _, message in self._resting(()))
        return [*self._offs(()), *resting, *self._parameters.resting()]

    def to(self, target: "ReceiverState", now: int, young: int = YOUNG) -> list[bytes]:
        """The messages that bring the instruments from this state to the `target` state, which has the same clock.

        A note that is down only there is pressed only if it is younger than `young` (ns).
        """
        return [
            *self._offs(target._keys),
            *self._other_sounds(target),
            *self._other_values(target),
            *self._parameters.to(target._parameters),
            *self._presses(target, now - young),
        ]

    def corrected(self, known: "ReceiverState", sure: "ReceiverState") -> "ReceiverState":
        """The `known` state, except where this one is `sure` or nothing is known. Keys stay as they are here."""
        made = self.copy()
        for place, message in sorted(known._values.items()):  # an MSB before its LSB, which it sets to 0
            if place not in sure._values:
                made._values[place] = message
                made._forget_low(place, sure)
        for place in sure._values:
            made._forget_low(place, sure)
        made._parameters.correct(known._parameters, sure._parameters)
        made.chosen.correct(known.chosen, sure.chosen)
        return made

    def _forget_low(self, place: Slot, sure: "ReceiverState") -> None:
        low = VOID_WITH.get(place, ())
        if low not in sure._values:
            self._values.pop(low, None)

    def _offs(self, target: Container[_Place]) -> Iterator[bytes]:
        return (bytes((NOTE_OFF | channel, key, 64)) for channel, key in self._keys if (channel, key) not in target)

    def _presses(self, target: "ReceiverState", since: int) -> Iterator[bytes]:
        return (key.message for place, key in target._keys.items() if key.since >= since and place not in self._keys)

    def _other_sounds(self, target: "ReceiverState") -> Iterator[bytes]:
        """Banks and programs. Channels to which none was ever sent are left alone."""
        own, wanted = self.chosen, target.chosen
        for channel, unit in sorted(wanted.sounds.items()):
            if own.sounds.get(channel) != unit:
                yield from unit
        for channel, banks in sorted(wanted.banks.items()):
            sent = wanted.sounds.get(channel)
            there = own.banks.get(channel) if sent is None or sent == own.sounds.get(channel) else sent[:-1]
            if there != banks:
                yield from banks

    def _other_values(self, target: "ReceiverState") -> Iterator[bytes]:
        renewed: set[Slot | None] = set()  # LSBs that a new MSB set to 0
        messages = {**dict(self._resting(target._values)), **target._values}
        for place, message in sorted(messages.items()):
            own = None if place in renewed else self._values.get(place)
            if message != (own or _rest(place)):
                yield message
                renewed.add(VOID_WITH.get(place))

    def _resting(self, known: Iterable[Slot]) -> Iterator[tuple[Slot, bytes]]:
        """What sets to rest all that is off rest, except what is `known`."""
        spared = set(known)
        for place, message in self._values.items():
            rest = _rest(place)
            if place not in spared and rest is not None and message != rest:
                yield place, rest

    # As bytes

    def snapshot(self, now: int, young_since: int | None = None) -> bytes:
        """The state as bytes. Ages are counted from `now`, since the reader has another clock.

        Notes of `young_since` (ns) and later count as just pressed.
        """
        packer = Packer()
        packer.number(_VERSION)
        for since, message in self._messages(now):
            young = young_since is not None and since >= young_since
            packer.number(0 if young else max(0, now - since))
            packer.octets(message)
        return bytes(packer.data)

    @classmethod
    def read(cls, now: int, data: bytes) -> "ReceiverState":
        """The state in a snapshot, with ages from the reader's `now`. Raises ValueError if it is not a snapshot."""
        made, unpacker = cls(), Unpacker(data)
        if unpacker.number() != _VERSION:
            raise ValueError("of another version")
        while unpacker.more:
            age, message = unpacker.number(), unpacker.octets()
            if not is_whole(message):
                raise ValueError("not a whole message")
            made.note(now - age, message)
        return made

    def _messages(self, now: int = 0) -> Iterator[tuple[int, bytes]]:
        """Times and messages that would have to be sent to reach this state from nothing."""
        for key in self._keys.values():
            yield key.since, key.message
        for _, message in sorted(self._values.items()):
            yield now, message
        for message in self._parameters.messages():
            yield now, message
        for message in (each for unit in self.chosen.sounds.values() for each in unit):
            yield now, message
        for channel, banks in self.chosen.banks.items():
            if banks != self.chosen.sounds.get(channel, (b"",))[:-1]:
                for message in banks:
                    yield now, message


def _rest(place: Slot) -> bytes | None:
    """The message that sets this to rest; None if it has no resting value."""
    if place[0] & 0xF0 == CONTROLLER and place[1] in MSB_OF:
        return bytes((*place, 0))  # the LSB of a value that is at rest, or was just set
    return rest_of(_at_zero(place))


def _at_zero(place: Slot) -> bytes:
    return bytes((*place, 0, 0))[:3]
