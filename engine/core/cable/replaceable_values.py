"""What a message sets, so that a value that waits on a cable can be replaced by a newer one of the same thing."""

from typing import Final

from engine.midi.controllers import KEEP_ORDER, LSB_OF, RESET_ALL_CONTROLLERS
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH, PROGRAM

Slot = tuple[int, ...]  # status, and number or key where there is one

#: MSB -> the LSB that a new value of it sets to 0 (MIDI 1.0 p. 12), so that an older value of that LSB is void
VOID_WITH: Final[dict[Slot, Slot]] = {
    (CONTROLLER | channel, msb): (CONTROLLER | channel, lsb) for channel in range(16) for msb, lsb in LSB_OF.items()
}


def slot(message: bytes) -> Slot | None:
    """What a channel message sets: a controller, a pressure, a bend, a program; None for notes and system messages."""
    status = message[0]
    kind = status & 0xF0
    if kind in (CONTROLLER, POLY_AFTERTOUCH):
        return (status, message[1])
    if kind in (PITCH_BEND, AFTERTOUCH, PROGRAM):
        return (status,)
    return None


def replaceable(message: bytes) -> Slot | None:
    """What a message sets, if a newer value may replace it; None if it must be kept."""
    kind = message[0] & 0xF0
    if kind == PROGRAM or (kind == CONTROLLER and message[1] in KEEP_ORDER):
        return None
    return slot(message)


def resets(message: bytes) -> bool:
    """Whether this is Reset All Controllers, which must not overtake values that came before it (RP-015)."""
    return message[0] & 0xF0 == CONTROLLER and message[1] == RESET_ALL_CONTROLLERS
