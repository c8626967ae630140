"""Which messages are merged where several players share a channel, beside keys."""

from typing import Final

from engine.midi.controllers import ENDS_NOTES, MSB_OF, PARAMETERS, RESET_ALL_CONTROLLERS, SWITCHES
from engine.midi.kinds import CONTROLLER, PROGRAM

#: 64 to 69; the other switches are buttons, each press of which counts
MERGED_PEDALS: Final = frozenset(number for number in SWITCHES if number < 70)
#: what holds for messages that follow: MSBs and LSBs, banks, parameter numbers and their data
MERGED_VALUES: Final = PARAMETERS.union(MSB_OF, MSB_OF.values())
_MERGED: Final = MERGED_VALUES | MERGED_PEDALS | ENDS_NOTES | {RESET_ALL_CONTROLLERS}


def is_merged(message: bytes) -> bool:
    """Whether what other players do on the channel may change what becomes of this message."""
    kind = message[0] & 0xF0
    return message[1] in _MERGED if kind == CONTROLLER else kind == PROGRAM


def ends_notes(message: bytes) -> bool:
    """Whether this is All Notes Off, All Sound Off or another mode message that implies it (MIDI 1.0 p. 24)."""
    return message[0] & 0xF0 == CONTROLLER and message[1] in ENDS_NOTES
