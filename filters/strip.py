"""Removes whole kinds of messages, such as aftertouch, clock or the modulation wheel.

`kinds` lists what is stopped:

* "notes": notes on and off. "poly_aftertouch": pressure of single keys. "aftertouch": pressure of a channel.
* "controllers": controllers 0 to 119. "channel_mode": 120 to 127, such as all notes off. "controller 7": this one only.
* "program": program changes. "pitch_bend": the bender.
* "sysex": all SysEx. "timecode": quarter frames, and the full frames and user bits that are SysEx (F0 7F .. 01).
* "clock": the clock ticks (F8). "transport": start, continue and stop. "song_position", "song_select".
* "tune_request", "active_sensing", "reset": these messages.
"""

from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator

from engine.midi.controllers import MODE_MESSAGES
from engine.midi.kinds import KINDS, SYSEX
from filters._values import as_list
from filters.registry import FilterSettings, Step
from filters.steps.strip import leaving_out

_CHANNELS: Final = range(16)
_STATUSES: Final = {
    kind.name: {kind.status + n for n in (_CHANNELS if kind.status < SYSEX else (0,))}
    for kind in KINDS
    if kind.name not in ("note_off", "note_on", "controller", "start", "continue", "stop")
} | {
    "notes": {*range(0x80, 0xA0)},
    "transport": {0xFA, 0xFB, 0xFC},
}
_CONTROLLERS: Final = {
    "controllers": {*range(MODE_MESSAGES.start)},
    "channel_mode": {*MODE_MESSAGES},
} | {f"controller {number}": {number} for number in range(128)}
_ALLOWED: Final = ", ".join(sorted((*_STATUSES, "controllers", "channel_mode")))


def known_kind(found: Any) -> Any:
    """The name of a kind, as it is. Raises ValueError, which says what is allowed."""
    if str(found) not in _STATUSES and str(found) not in _CONTROLLERS:
        raise ValueError(f'one of {_ALLOWED}, or "controller N" with N from 0 to 127')
    return found


class Settings(FilterSettings):
    """Names of kinds."""

    filter: Literal["strip"]
    kinds: Annotated[tuple[Annotated[str, BeforeValidator(known_kind)], ...], as_list("kinds")]


def build(settings: Settings) -> Step:
    """Look-ups by status byte and by controller number."""
    kinds = settings.kinds
    statuses = frozenset[int]().union(*(_STATUSES.get(kind, ()) for kind in kinds))
    controllers = frozenset[int]().union(*(_CONTROLLERS.get(kind, ()) for kind in kinds))
    return leaving_out(statuses, controllers, "timecode" in kinds)
