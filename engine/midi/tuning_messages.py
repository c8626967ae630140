"""The messages of tuning: twelve offsets of a scale, and master tuning.

Sources: MIDI Tuning Standard (CA-020, CA-021, RP-020): scale/octave tuning, one and two byte forms; CA-025: master
fine and coarse tuning.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Final

from engine.midi.kinds import SYSEX, Message

_ALL_CALL: Final = 0x7F
_NOW, _SET_UP = 0x7F, 0x7E  # universal ids: real-time retunes what sounds, the other does not
_KEYS: Final = 12  # C to B
_FINE_STEP: Final = 100 / 8192  # cents
_CONCERT: Final = 440.0  # Hz


def scale_tuning(channels: Iterable[int], cents: Sequence[float], at_once: bool) -> Message | None:
    """How far C to B are from equal temperament, on these channels (0 to 15); `at_once`: also keys that sound.

    None if any is out of reach, which is -100 to 100 cents. Whole cents from -64 to 63 take one byte each.
    """
    if len(cents) != _KEYS or not all(-100 <= each <= 100 for each in cents):
        return None
    short = all(each == int(each) and -64 <= each <= 63 for each in cents)
    data = [int(each) + 64 for each in cents] if short else [byte for each in cents for byte in _fine(each)]
    head = (SYSEX, _NOW if at_once else _SET_UP, _ALL_CALL, 0x08, 0x08 if short else 0x09)
    return bytes((*head, *_bits(channels), *data, 0xF7))


def master_fine_tuning(cents: float) -> Message | None:
    """For all that a device plays, -100 to 100 cents; None if it is out of reach."""
    if not -100 <= cents <= 100:
        return None
    high, low = _fine(cents)
    return bytes((SYSEX, _NOW, _ALL_CALL, 0x04, 0x03, low, high, 0xF7))


def concert_pitch(hertz: float) -> Message | None:
    """The master fine tuning for which A above middle C has this frequency; None if it is out of reach."""
    return master_fine_tuning(1200 * math.log2(hertz / _CONCERT)) if hertz > 0 else None


def master_coarse_tuning(semitones: int) -> Message | None:
    """For all that a device plays but drums, -64 to 63 semitones; None if it is out of reach."""
    if not -64 <= semitones <= 63:
        return None
    return bytes((SYSEX, _NOW, _ALL_CALL, 0x04, 0x04, 0x00, 0x40 + semitones, 0xF7))


def _fine(cents: float) -> tuple[int, int]:
    """Both bytes, high one first."""
    value = min(16383, 8192 + round(cents / _FINE_STEP))
    return value >> 7, value & 0x7F


def _bits(channels: Iterable[int]) -> tuple[int, int, int]:
    """Channels 15 and 16, then 8 to 14, then 1 to 7, counted from 1; the lowest has bit 0."""
    bits = sum(1 << channel for channel in set(channels))
    return bits >> 14, bits >> 7 & 0x7F, bits & 0x7F
