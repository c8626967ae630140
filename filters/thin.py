"""Wheels, faders and pressure send fewer values, so that a slow cable is not flooded.

`milliseconds = 20`: of one controller, bender or pressure, values that come sooner than 20 ms after the last one that
passed are left out. Channels, controllers and keys are counted apart.

What must arrive always passes: 0, 64 and 127 (the ends of the travel and the rest in its middle), the bender's ends and
centre, pedals and switches (64 to 69), bank select, data entry and parameter numbers (0, 32, 6, 38, 96 to 101), and
channel mode messages. So does the last value of a movement that stops between the ends, as soon as its 20 ms are over.
"""

from typing import Annotated, Final, Literal

from pydantic import BeforeValidator

from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH
from engine.midi.message_words import MODE_MESSAGES, SWITCHES
from filters._values import whole
from filters.registry import FilterSettings, Later, Step

KEEPS_STATE = True

# Each of these is a command of its own, or half of one: none may be left out because another has just passed.
_NEVER: Final = frozenset({0, 32, 6, 38, *SWITCHES, *range(96, 102), *MODE_MESSAGES})
_KINDS: Final = frozenset({POLY_AFTERTOUCH, CONTROLLER, AFTERTOUCH, PITCH_BEND})
_ALWAYS: Final = frozenset({0, 64, 127})


class Settings(FilterSettings):
    """Milliseconds from 1 to 1000."""

    filter: Literal["thin"]
    milliseconds: Annotated[int, BeforeValidator(whole("milliseconds", 1, 1000))]


def build(settings: Settings) -> Step:
    """Remember when a value of each controller last passed."""
    least = settings.milliseconds * 1_000_000
    passed: dict[bytes, int] = {}  # when the last value passed, or will

    def thin(message: bytes, now: int) -> tuple[bytes | Later, ...]:
        kind = message[0] & 0xF0
        if kind not in _KINDS or (kind == CONTROLLER and message[1] in _NEVER):
            return (message,)
        which = message[:1] if kind == PITCH_BEND else message[:-1]
        again = passed.get(which, now - least) + least
        if now < passed.get(which, 0):
            again = passed[which]  # a value waits for that time; this one takes its place
        if now >= again or _must_pass(message, kind):
            passed[which] = now
            return (message,)
        passed[which] = again
        return (Later(again, message),)

    return thin


def _must_pass(message: bytes, kind: int) -> bool:
    """Ends and middle; a bender may send its top as 00 7F or 7F 7F, its centre is 00 40 alone."""
    last = message[-1]
    if kind == PITCH_BEND:
        return last == 127 or (message[1] == 0 and last in _ALWAYS)
    return last in _ALWAYS
