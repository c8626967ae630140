"""The reverb and the chorus that General MIDI 2 devices have in common, and how they are set.

Source: Global Parameter Control, CA-024, slots 0101 (reverb) and 0102 (chorus). The names of the last two types of
chorus are from memory.
"""

import math
from typing import Final

from engine.midi.kinds import SYSEX, Message

REVERBS: Final = {
    "small room": 0,
    "medium room": 1,
    "large room": 2,
    "medium hall": 3,
    "large hall": 4,
    "plate": 8,
}
CHORUSES: Final = {
    "chorus 1": 0,
    "chorus 2": 1,
    "chorus 3": 2,
    "chorus 4": 3,
    "feedback chorus": 4,
    "flanger": 5,
}

_HERTZ: Final = 0.122  # a step of the rate
_FEEDBACK: Final = 0.763  # percent
_SEND: Final = 0.787  # percent


def reverb_type(name: str) -> Message:
    """One of REVERBS; it sets the time, too."""
    return _set(1, 0, REVERBS[name])


def reverb_time(seconds: float) -> Message | None:
    """None if it is out of reach, which is 0.4 to 8.8 s."""
    return _checked(1, 1, math.log(seconds) / 0.025 + 40 if seconds > 0 else -1)


def chorus_type(name: str) -> Message:
    """One of CHORUSES; it sets all else, too."""
    return _set(2, 0, CHORUSES[name])


def chorus_rate(hertz: float) -> Message | None:
    """None if it is out of reach, as for the following."""
    return _checked(2, 1, hertz / _HERTZ)


def chorus_depth(milliseconds: float) -> Message | None:
    """From peak to peak."""
    return _checked(2, 2, milliseconds * 3.2 - 1)


def chorus_feedback(percent: float) -> Message | None:
    """How much of it goes into it again."""
    return _checked(2, 3, percent / _FEEDBACK)


def chorus_to_reverb(percent: float) -> Message | None:
    """How much of it goes to the reverb."""
    return _checked(2, 4, percent / _SEND)


def _checked(slot: int, parameter: int, value: float) -> Message | None:
    nearest = round(value)
    return _set(slot, parameter, nearest) if 0 <= nearest <= 127 else None


def _set(slot: int, parameter: int, value: int) -> Message:
    """One slot of two bytes, parameters and values of one byte each."""
    return bytes((SYSEX, 0x7F, 0x7F, 0x04, 0x05, 1, 1, 1, 1, slot, parameter, value, 0xF7))
