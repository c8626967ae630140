"""What the instruments of one output are in, from what was sent there: notes down, values, banks and programs.

Two engines that play one output in turn each keep one; the machine that has the output brings its own to that of the
engine that takes over, so that what sounds in both sounds on and nothing else does.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from engine.core.cable.parameters import Parameters
from engine.core.cable.replaceable_values import VOID_WITH, Slot, resets, slot
from engine.core.varint import Packer, Unpacker
from engine.midi.controllers import BANKS, FOR_NEXT_NOTE, MODE_MESSAGES, MSB_OF, PARAMETERS
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, PROGRAM, SYSEX, is_whole
from engine.midi.rest_values import rest_of

#: a note of the other engine is pressed late if it is no older than this (ns); an older one would be heard as a mistake
YOUNG: Final = 50_000_000
#: controllers that leave no state behind which could be repeated
_PASSING: Final = FOR_NEXT_NOTE.union(MODE_MESSAGES)
_MOST: Final = 16  # of one key: presses whose releases were lost are no reason to jam a cable
_VERSION: Final = 1

_Place = tuple[int, int]  # channel 0 to 15, key


class _Key:
    """A key that is down: the last press, when (ns), and how many presses it still owes a release."""

    __slots__ = ("count", "message", "since")

    def __init__(self, message: bytes, since: int) -> None:
        self.message, self.since, self.count = message, since, 1


class ReceiverState:
    """No clock of its own: times are nanoseconds of whichever clock the caller has."""

    def __init__(self) -> None:
        self._keys: dict[_Place, _Key] = {}
        self._values: dict[Slot, bytes] = {}
        self._parameters = Parameters()
        self._banks: dict[int, tuple[bytes, ...]] = {}  # channel -> bank messages since, or of, the last program
        self._sounds: dict[int, tuple[bytes, ...]] = {}  # channel -> bank and program in force

    # What was sent

    def note(self, now: int, message: bytes) -> None:
        """This message was sent at this time."""
        status = message[0]
        if status >= SYSEX:
            return
        kind = status & 0xF0
        if kind == NOTE_ON and message[2]:
            self._press(now, message)
        elif kind in (NOTE_ON, NOTE_OFF):
            self._release(message)
        elif kind == PROGRAM:
            channel = status & 0x0F
            self._sounds[channel] = (*self._banks.get(channel, ()), message)
        elif kind == CONTROLLER:
            self._turn(message)
        else:
            self._values[slot(message) or ()] = message

    def _press(self, now: int, message: bytes) -> None:
        place = message[0] & 0x0F, message[1]
        key = self._keys.get(place)
        if key is None:
            self._keys[place] = _Key(message, now)
        else:
            key.message, key.since, key.count = message, now, min(key.count + 1, _MOST)

    def _release(self, message: bytes) -> None:
        place = message[0] & 0x0F, message[1]
        key = self._keys.get(place)
        if key is not None:
            key.count -= 1
            if not key.count:
                del self._keys[place]

    def _turn(self, message: bytes) -> None:
        status, number = message[0], message[1]
        channel = status & 0x0F
        if number in BANKS:
            # a new high byte zeroes the low byte (MIDI 1.0 p. 12)
            kept = (each for each in self._banks.get(channel, ()) if number and not each[1])
            self._banks[channel] = (*kept, message)
        elif resets(message):
            # RP-015; what has no resting value stays as it was
            for place in [each for each in self._values if each[0] & 0x0F == channel and rest_of(_at_zero(each))]:
                del self._values[place]
            self._parameters.reset(channel)
        elif number in PARAMETERS:
            self._parameters.turn(channel, number, message[2])
        elif number not in _PASSING:
            self._values[status, number] = message
            self._values.pop(VOID_WITH.get((status, number), ()), None)

    # What is so

    @property
    def held(self) -> int:
        """How many keys are down."""
        return len(self._keys)

    def copy(self) -> "ReceiverState":
        """The same, to go on by itself."""
        made = ReceiverState()
        for now, message in self._told():
            made.note(now, message)
        return made

    def releases(self) -> list[bytes]:
        """What silences it and sets it to rest: note-offs, velocity 64 (MIDI 1.0 p. 10), pedals, wheels, bends."""
        resting = (message for _, message in self._resting(()))
        return [*self._offs({}), *resting, *self._parameters.resting()]

    def to(self, wanted: "ReceiverState", now: int, young: int = YOUNG) -> list[bytes]:
        """The messages after which the instruments are in what is `wanted`, which has the same clock.

        A note that is wanted and not down is pressed only if it is younger than `young` (ns).
        """
        return [
            *self._offs(wanted._keys),
            *self._other_sounds(wanted),
            *self._other_values(wanted),
            *self._parameters.to(wanted._parameters),
            *self._presses(wanted, now - young),
        ]

    def _offs(self, wanted: dict[_Place, _Key]) -> Iterator[bytes]:
        for place, key in self._keys.items():
            other = wanted.get(place)
            excess = key.count - (other.count if other else 0)
            yield from [bytes((NOTE_OFF | place[0], place[1], 64))] * excess

    def _presses(self, wanted: "ReceiverState", since: int) -> Iterator[bytes]:
        for place, key in wanted._keys.items():
            own = self._keys.get(place)
            if key.since >= since:
                yield from [key.message] * (key.count - (own.count if own else 0))

    def _other_sounds(self, wanted: "ReceiverState") -> Iterator[bytes]:
        """Banks and programs; of a channel that was never told one nothing is known, and nothing said."""
        for channel, unit in sorted(wanted._sounds.items()):
            if self._sounds.get(channel) != unit:
                yield from unit
        for channel, banks in sorted(wanted._banks.items()):
            sent = wanted._sounds.get(channel)
            own = self._banks.get(channel) if sent is None or sent == self._sounds.get(channel) else sent[:-1]
            if own != banks:
                yield from banks

    def _other_values(self, wanted: "ReceiverState") -> Iterator[bytes]:
        renewed: set[Slot | None] = set()  # low bytes that a new high byte zeroed
        messages = {**dict(self._resting(wanted._values)), **wanted._values}
        for place, message in sorted(messages.items()):
            own = None if place in renewed else self._values.get(place)
            if message != (own or _rest(place)):
                yield message
                renewed.add(VOID_WITH.get(place))

    def _resting(self, known: Iterable[Slot]) -> Iterator[tuple[Slot, bytes]]:
        """What sets to rest all that is off it and is not `known` otherwise."""
        spared = set(known)
        for place, message in self._values.items():
            rest = _rest(place)
            if place not in spared and rest is not None and message != rest:
                yield place, rest

    # On its way

    def snapshot(self, now: int, young_since: int | None = None) -> bytes:
        """All of it, as bytes; ages are counted from `now`, for the reader has another clock.

        Notes of `young_since` (ns) and later count as just pressed.
        """
        packer = Packer()
        packer.number(_VERSION)
        for since, message in self._told(now):
            young = young_since is not None and since >= young_since
            packer.number(0 if young else max(0, now - since))
            packer.octets(message)
        return bytes(packer.data)

    @classmethod
    def read(cls, now: int, data: bytes) -> "ReceiverState":
        """What a snapshot says, counted from the reader's `now`. Raises ValueError if it is none."""
        made, unpacker = cls(), Unpacker(data)
        if unpacker.number() != _VERSION:
            raise ValueError("of another version")
        while unpacker.more:
            age, message = unpacker.number(), unpacker.octets()
            if not is_whole(message):
                raise ValueError("no whole message")
            made.note(now - age, message)
        return made

    def _told(self, now: int = 0) -> Iterator[tuple[int, bytes]]:
        """When and what would have to be sent to be here from nothing."""
        for key in self._keys.values():
            yield from [(key.since, key.message)] * key.count
        for _, message in sorted(self._values.items()):
            yield now, message
        for message in self._parameters.told():
            yield now, message
        for message in (each for unit in self._sounds.values() for each in unit):
            yield now, message
        for channel, banks in self._banks.items():
            if banks != self._sounds.get(channel, (b"",))[:-1]:
                for message in banks:
                    yield now, message


def _rest(place: Slot) -> bytes | None:
    """The message that sets this to rest; None if it has no resting value."""
    if place[0] & 0xF0 == CONTROLLER and place[1] in MSB_OF:
        return bytes((*place, 0))  # the low byte of a value that is at rest, or was just set
    return rest_of(_at_zero(place))


def _at_zero(place: Slot) -> bytes:
    return bytes((*place, 0, 0))[:3]
