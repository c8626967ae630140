"""The kinds of what passes, as `bayleaf watch` tells them apart: by name, and each with a colour."""

from typing import Any, Final

from engine.cli.output import CommandError
from engine.rig.read.raw_data import no_such

CLOCK: Final = "clock"
TIMECODE: Final = "timecode"
NOTICES: Final = "notices"  # what the engine itself says: scenes recalled, ports lost
_SYSTEM: Final = "system"
#: by status byte without the channel; every other one is "system"
_BY_STATUS: Final = {
    0x80: "notes",
    0x90: "notes",
    0xA0: "pressure",
    0xB0: "controllers",
    0xC0: "programs",
    0xD0: "pressure",
    0xE0: "bends",
    0xF0: "sysex",
    0xF1: TIMECODE,
    **dict.fromkeys((0xF2, 0xF8, 0xFA, 0xFB, 0xFC), CLOCK),
}
KINDS: Final = (*dict.fromkeys(_BY_STATUS.values()), _SYSTEM, NOTICES)
#: SGR parameters (ECMA-48 8.3.117) that can be told apart on dark and on light ground
COLOURS: Final = {
    "notes": "32",
    "controllers": "36",
    "pressure": "36",
    "bends": "36",
    "programs": "35",
    "sysex": "34",
    NOTICES: "1",
    CLOCK: "2",
    TIMECODE: "2",
    _SYSTEM: "2",
}


def kind_of_event(event: dict[str, Any]) -> str:
    """The kind of something that passed, one of KINDS; `event` as the engine tells it."""
    if not event["message"]:
        return NOTICES
    status = int(event["message"][:2], 16)
    return _BY_STATUS.get(status & 0xF0 if status < 0xF0 else status, _SYSTEM)


def chosen_kinds(words: str) -> frozenset[str]:
    """The kinds in a list with commas. Raises CommandError with the nearest kind and all of them."""
    chosen = [word.strip() for word in words.split(",")]
    for word in chosen:
        if word not in KINDS:
            raise CommandError(no_such("kind", word, KINDS))
    return frozenset(chosen)
