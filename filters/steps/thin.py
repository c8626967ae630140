"""The step of `thin`."""

from typing import Final

from engine.midi.controllers import KEEP_ORDER, MSB_OF
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH
from filters.registry import Later, Step

_KINDS: Final = frozenset({POLY_AFTERTOUCH, CONTROLLER, AFTERTOUCH, PITCH_BEND})
_ALWAYS: Final = frozenset({0, 64, 127})


def thinning(least: int) -> Step:
    """Remember when a value of each controller last passed; `least`: ns from one value to the next."""
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
