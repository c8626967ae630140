"""Thins out the values of wheels, faders and pressure, so that a slow cable is not flooded.

`milliseconds = 20`: values of a controller, bender or pressure that come sooner than 20 ms after the last one that
passed are left out. Channels, controllers and keys are counted separately.

What must arrive always passes: 0, 64 and 127 (the ends of the travel and the rest in its middle), and the bender's ends
and centre. The last value of a movement that stops in between passes as soon as its 20 ms are over. Controllers that
must keep their place pass at once: pedals, switches and buttons (64 to 69, 80 to 83), bank select, data entry and
parameter numbers, what belongs to the next note (84 and 88), channel mode messages. The LSB of a 14-bit controller goes
with its MSB: it waits while that waits, and is left out only with it. Without an MSB, it is a controller of its own.
"""

from typing import Annotated, Final, Literal

from pydantic import BeforeValidator

from engine.midi.controllers import KEEP_ORDER, MSB_OF
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH
from filters._values import whole
from filters.registry import FilterSettings, Later, Step

KEEPS_STATE = True

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
        if kind not in _KINDS or (kind == CONTROLLER and message[1] in KEEP_ORDER):
            return (message,)
        if kind == CONTROLLER and (msb := MSB_OF.get(message[1])) is not None:
            at = passed.get(bytes((message[0], msb)))
            if at is not None:
                return (Later(at, message) if at > now else message,)
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
