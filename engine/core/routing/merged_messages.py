"""Which messages are merged where several players share a channel, beside keys."""

from collections.abc import Iterable
from typing import Final

from engine.core.cable.output_cable import Unit
from engine.midi.controllers import (
    BANK_MSB,
    DATA_MSB,
    ENDS_NOTES,
    MSB_OF,
    PARAMETERS,
    RESET_ALL_CONTROLLERS,
    SWITCHES,
)
from engine.midi.kinds import CONTROLLER, PROGRAM

#: 64 to 69; the other switches are buttons, each press of which counts
MERGED_PEDALS: Final = frozenset(number for number in SWITCHES if number < 70)
#: the bytes that name them
PEDAL_NAMES: Final = frozenset(
    bytes((CONTROLLER | channel, number)) for channel in range(16) for number in MERGED_PEDALS
)
#: what holds for messages that follow: MSBs and LSBs, banks, parameter numbers and their data
MERGED_VALUES: Final = PARAMETERS.union(MSB_OF, MSB_OF.values())
#: the MSBs of controllers that are neither bank nor data entry: they pass as they came, and are only remembered
HIGHS: Final = frozenset(MSB_OF.values()).difference((BANK_MSB, DATA_MSB))
#: an MSB that is sent: the place (output, status byte, controller), and its value
SentHigh = tuple[tuple[int, int, int], int]
_MERGED: Final = MERGED_VALUES | MERGED_PEDALS | ENDS_NOTES | {RESET_ALL_CONTROLLERS}


def merged_of(units: Iterable[tuple[int, Unit]]) -> tuple[bool, tuple[SentHigh, ...]]:
    """Whether any of these is merged; if they are nothing but `HIGHS`, those instead."""
    highs: tuple[SentHigh, ...] = ()
    for output, unit in units:
        for message in unit:
            kind = message[0] & 0xF0
            if kind == CONTROLLER:
                if message[1] in HIGHS:
                    highs += (((output, message[0], message[1]), message[2]),)
                elif message[1] in _MERGED:
                    return True, ()
            elif kind == PROGRAM:
                return True, ()
    return False, highs


def is_pedal(message: bytes) -> bool:
    """Whether this, a message or what names it, is a pedal that several players may hold."""
    return message[:2] in PEDAL_NAMES


def is_merged(message: bytes) -> bool:
    """Whether what other players do on the channel may change what becomes of this message."""
    kind = message[0] & 0xF0
    return message[1] in _MERGED if kind == CONTROLLER else kind == PROGRAM


def ends_notes(message: bytes) -> bool:
    """Whether this is All Notes Off, All Sound Off or another mode message that implies it (MIDI 1.0 p. 24)."""
    return message[0] & 0xF0 == CONTROLLER and message[1] in ENDS_NOTES
