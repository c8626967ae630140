"""What a receiver gets from an output: keys that sound, notes that were played, programs that were selected."""

from collections import Counter
from collections.abc import Iterable
from typing import NamedTuple

from engine.midi.controllers import ALL_NOTES_OFF, ALL_SOUND_OFF, BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM, is_press, is_release


class HeardNote(NamedTuple):
    """A note: begin and end (ns; None if it never ended), channel (0 to 15), key, velocity."""

    begins: int
    ends: int | None
    channel: int
    key: int
    velocity: int


class ChosenProgram(NamedTuple):
    """A program selection: time (ns), channel (0 to 15), bank MSB and LSB (None if not sent), program from 0."""

    at: int
    channel: int
    bank: tuple[int | None, int | None]
    program: int


def unreleased(messages: Iterable[bytes]) -> list[tuple[int, int]]:
    """The (channel, key) that these messages press more often than they release: each note-on needs its own note-off
    (MIDI 1.0 p. A-4)."""
    return _down(messages, each_press=True)


def sounding(messages: Iterable[bytes]) -> list[tuple[int, int]]:
    """The (channel, key) that sound after these messages; a note-off ends its key, however often that was pressed."""
    return _down(messages, each_press=False)


def _down(messages: Iterable[bytes], each_press: bool) -> list[tuple[int, int]]:
    down: Counter[tuple[int, int]] = Counter()
    for message in messages:
        kind = message[0] & 0xE0
        if kind == 0x80:
            place = message[0] & 0x0F, message[1]
            if is_press(message):
                down[place] += 1
            elif down[place]:
                down[place] -= 1 if each_press else down[place]
        elif message[0] & 0xF0 == CONTROLLER and message[1] in (ALL_SOUND_OFF, ALL_NOTES_OFF):
            for place in [place for place in down if place[0] == message[0] & 0x0F]:
                del down[place]
    return sorted(+down)


def notes(messages: Iterable[tuple[int, bytes]]) -> list[HeardNote]:
    """The notes in these (ns, message), in the order of their beginnings."""
    down: dict[tuple[int, int], list[tuple[int, int]]] = {}
    found = []
    for at, message in messages:
        place = message[0] & 0x0F, message[1] if len(message) > 1 else 0
        if is_press(message):
            down.setdefault(place, []).append((at, message[2]))
        elif is_release(message) and down.get(place):
            begun, velocity = down[place].pop(0)
            found.append(HeardNote(begun, at, *place, velocity))
    found += [HeardNote(begun, None, *place, velocity) for place, left in down.items() for begun, velocity in left]
    return sorted(found, key=lambda note: (note.begins, note.channel, note.key))


def choices(messages: Iterable[tuple[int, bytes]]) -> list[ChosenProgram]:
    """The programs that these (ns, message) select."""
    banks: dict[int, tuple[int | None, int | None]] = {}
    found = []
    for at, message in messages:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == CONTROLLER and message[1] in BANKS:
            high, low = banks.get(channel, (None, None))
            banks[channel] = (message[2], low) if message[1] == BANK_MSB else (high, message[2])
        elif kind == PROGRAM:
            found.append(ChosenProgram(at, channel, banks.get(channel, (None, None)), message[1]))
    return found
