"""What a message sets, so that what waits on a wire can give way to what says the same thing later."""

from typing import Final

from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH, PROGRAM

Slot = tuple[int, ...]  # status, and number or key where there is one

# Controllers whose values may not be replaced by newer ones: bank, data entry, switches, portamento source,
# velocity prefix, increments and parameter numbers, mode messages (MIDI 1.0 Table III; CA-031 for 88).
_KEPT: Final = frozenset((0, 32, 6, 38, *range(64, 70), *range(80, 85), 88, *range(96, 102), *range(120, 128)))


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
    """What a message is a value of, if a newer value may take its place; None if it must be kept."""
    kind = message[0] & 0xF0
    if kind == PROGRAM or (kind == CONTROLLER and message[1] in _KEPT):
        return None
    return slot(message)


def resets(message: bytes) -> bool:
    """Whether this is Reset All Controllers, which values played before it must not overtake (RP-015)."""
    return message[0] & 0xF0 == CONTROLLER and message[1] == 121
