"""An instrument that says what can be heard: which notes sound under which pedals, and what shapes each of them.

Written from MIDI 1.0 (p. 12, 20 to 24 and A-4 to A-6) and RP-015, without any knowledge of what the engine remembers.
Sources of the pedals' behaviour: `tests/reference/pedals.json`; of the values at rest: RP-015, and for 2, 68 and 69
common practice.
"""

from typing import Any, Final, NamedTuple

#: a kind of message (its status without the channel), and the number of the controller or the key, or 0
Part = tuple[int, int]
#: output, channel 0 to 15
Place = tuple[int, int]

BEND: Final[Part] = (0xE0, 0)
PRESSURE: Final[Part] = (0xD0, 0)
SUSTAIN, SOSTENUTO, HOLD_2 = 64, 66, 69
#: the controllers that shape a note while it sounds
SHAPING: Final = frozenset((1, 2, 4, 5, 7, 8, 10, 11, *range(64, 80), *range(91, 96)))
PEDALS: Final = frozenset((0xB0, number) for number in range(64, 70))
_RESTS: Final = {
    BEND: 0x2000,
    PRESSURE: 0,
    (0xB0, 11): 127,
    **{(0xB0, number): 0 for number in (1, 2, *range(64, 70))},
}


def rest(part: Part) -> int | None:
    """The value of something at rest; None if it has no rest."""
    return 0 if part[0] == 0xA0 else _RESTS.get(part)


def part_of(message: bytes) -> tuple[Part, int] | None:
    """What a message shapes, and to which value (0 to 127, a bend 0 to 16383); None if nothing."""
    kind = message[0] & 0xF0
    if kind == 0xE0:
        return BEND, message[1] | message[2] << 7
    if kind == 0xD0:
        return PRESSURE, message[1]
    if kind == 0xA0 or (kind == 0xB0 and message[1] in SHAPING):
        return (kind, message[1]), message[2]
    return None


def message_of(part: Part, channel: int, value: int) -> bytes:
    """The message that sets this to this value."""
    kind, number = part
    if kind == 0xE0:
        return bytes((kind | channel, value & 0x7F, value >> 7))
    return bytes((kind | channel, value)) if kind == 0xD0 else bytes((kind | channel, number, value))


def off_rest(told: dict[Part, int]) -> dict[Part, int]:
    """Those that are not at rest, or have no rest."""
    return {part: value for part, value in told.items() if value != rest(part)}


class SoundingNote:
    """A note from its press to its silence. `began_with`: what shaped its first moment; `moved`: every change since."""

    def __init__(self, key: int, now: int, told: dict[Part, int]) -> None:
        self.key, self.began = key, now
        self.down = True
        self.ended: int | None = None
        self.began_with = dict(told)
        self.moved: list[tuple[int, Part, int]] = []


class PartChange(NamedTuple):
    """A part that was given another value while these notes (oldest first) sounded; `before` is None at first."""

    place: Place
    part: Part
    before: int | None
    after: int
    notes: tuple[SoundingNote, ...]


class AudibleChannel:
    """One channel. `notes`: those that sound, by key, oldest first; `past`: those that have ended."""

    def __init__(self) -> None:
        self.notes: dict[int, SoundingNote] = {}
        self.past: list[SoundingNote] = []
        self.told: dict[Part, int] = {}
        self._caught: set[int] = set()  # keys that were down when the sostenuto pedal went down, struck again or not

    def press(self, now: int, key: int) -> None:
        """A key goes down; the string is struck again if it still sounds."""
        if key in self.notes:
            self._end(now, key)
        self.notes[key] = SoundingNote(key, now, self.told)

    def release(self, now: int, key: int) -> None:
        """A key goes up, however often it was pressed."""
        if key in self.notes:
            self.notes[key].down = False
            self._damp(now)

    def set(self, now: int, part: Part, value: int) -> bool:
        """A part is given a value; whether that is another one than before."""
        before = self.told.get(part)
        if before == value:
            return False
        self.told[part] = value
        for note in self.notes.values():
            if part[0] != 0xA0 or part[1] == note.key:
                note.moved.append((now, part, value))
        if part == (0xB0, SOSTENUTO) and (before or 0) < 64 <= value:
            self._caught = {note.key for note in self.notes.values() if note.down}
        if part in PEDALS:
            self._damp(now)
        return True

    def silence(self, now: int) -> None:
        """All Sound Off."""
        for key in [*self.notes]:
            self._end(now, key)

    def lift(self, now: int) -> None:
        """All Notes Off: as if each key went up (MIDI 1.0 p. 24)."""
        for key in [*self.notes]:
            self.release(now, key)

    def reset(self, now: int) -> None:
        """Reset All Controllers (RP-015)."""
        for part in [*self.told]:
            resting = rest(part)
            if resting is not None:
                self.set(now, part, resting)

    def _pedal(self, number: int) -> bool:
        return self.told.get((0xB0, number), 0) >= 64

    def _damp(self, now: int) -> None:
        """Notes end that neither key nor pedal holds."""
        if self._pedal(SUSTAIN) or self._pedal(HOLD_2):
            return
        held = self._caught if self._pedal(SOSTENUTO) else ()
        for key in [key for key, note in self.notes.items() if not note.down and key not in held]:
            self._end(now, key)

    def _end(self, now: int, key: int) -> None:
        note = self.notes.pop(key)
        note.ended = now
        self.past.append(note)


class AudibleReceiver:
    """All outputs of an engine. `changes`: what was given another value, since they were last taken away."""

    def __init__(self) -> None:
        self.channels: dict[Place, AudibleChannel] = {}
        self.changes: list[PartChange] = []

    def at(self, place: Place) -> AudibleChannel:
        """The instrument on a channel of an output."""
        found = self.channels.get(place)
        if found is None:
            found = self.channels[place] = AudibleChannel()
        return found

    def hear(self, now: int, output: int, message: bytes) -> None:
        """One whole message."""
        status = message[0]
        if status >= 0xF0:
            return
        place = (output, status & 0x0F)
        channel, kind = self.at(place), status & 0xF0
        if kind == 0x90 and message[2]:
            channel.press(now, message[1])
        elif kind in (0x80, 0x90):
            channel.release(now, message[1])
        elif kind == 0xB0 and message[1] >= 120:
            self._mode(now, channel, message[1])
        elif (shaped := part_of(message)) is not None:
            part, value = shaped
            before, notes = channel.told.get(part), tuple(channel.notes.values())
            if channel.set(now, part, value):
                self.changes.append(PartChange(place, part, before, value, notes))

    def _mode(self, now: int, channel: AudibleChannel, number: int) -> None:
        if number == 120:
            channel.silence(now)
        elif number == 121:
            channel.reset(now)
        elif number >= 123:
            channel.lift(now)

    def notes(self) -> list[SoundingNote]:
        """All notes that ever sounded, in the order of their places and ends."""
        return [
            note for _, channel in sorted(self.channels.items()) for note in (*channel.past, *channel.notes.values())
        ]

    def audible(self) -> list[tuple[Any, ...]]:
        """Each of these notes: its key, when it began and ended, what it began with and how that changed."""
        return [(note.key, note.began, note.ended, off_rest(note.began_with), note.moved) for note in self.notes()]

    def off_rest(self) -> set[tuple[Place, Part, int]]:
        """All that is not at rest."""
        return {
            (place, part, value)
            for place, channel in self.channels.items()
            for part, value in channel.told.items()
            if rest(part) not in (None, value)
        }
