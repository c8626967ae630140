"""What a recording that begins within a show does not say: where players, hands, feet and instruments are by then."""

from collections.abc import Iterable, Iterator
from typing import Any, Final

from engine.core.routing.sent_values import position_of
from engine.midi.controllers import BANKS
from engine.midi.kinds import CONTROLLER, NOTE_OFF, NOTE_ON, PROGRAM, is_press

#: where a show was, as `engine/core/show_standing` has it
Place = dict[str, Any]
#: a message that passed an input, or ~ an output; or where the show was from then on
Passed = tuple[int, bytes] | Place
_NOTES: Final = (NOTE_ON, NOTE_OFF)


def in_force(earlier: Iterable[Passed], place: Place | None) -> list[Passed]:
    """What of this is in force at its end. `place`: where the show was before.

    Of what came in, the last of each controller, bend and pressure, and the keys that are down; of what went out, the
    last bank and program of each channel. First comes where the show was when the first of these keys went down; where
    it was later, between them.
    """
    places: list[tuple[int, Passed]] = [(-1, place)] if place is not None else []
    kept: dict[tuple[int, bytes], tuple[int, Passed]] = {}  # the numbers say in which order they came
    at = 0
    for at, what in enumerate(earlier, 1):
        if isinstance(what, dict):
            places.append((at, what))
            continue
        port, message = what
        for name in _moved(message) if port >= 0 else _chosen(message):
            kept.pop((port, name), None)
            if port < 0 or message[0] & 0xF0 not in _NOTES or is_press(message):
                kept[port, name] = at, what
    held = [number for (port, name), (number, _) in kept.items() if port >= 0 and name[0] & 0xF0 == NOTE_ON]
    first = min(held, default=at + 1)
    begins = [each for each in places if each[0] < first][-1:]
    later = [*kept.values(), *(each for each in places if each[0] > first)]
    return [what for _, what in (*begins, *sorted(later, key=lambda each: each[0]))]


def _moved(message: bytes) -> Iterator[bytes]:
    """The bytes that name the key, controller, bend or pressure that this moves."""
    if message[0] & 0xF0 in _NOTES:
        yield bytes((NOTE_ON | message[0] & 0x0F, message[1]))
    elif place := position_of(message):
        yield place


def _chosen(message: bytes) -> Iterator[bytes]:
    """Those that name the part of a sound that this chooses."""
    kind = message[0] & 0xF0
    if kind == PROGRAM or (kind == CONTROLLER and message[1] in BANKS):
        yield message[: 1 if kind == PROGRAM else 2]
