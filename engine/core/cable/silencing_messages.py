"""The messages that silence an instrument and set it to rest, whatever was sent before."""

from typing import Final, NamedTuple

from engine.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    EXPRESSION,
    MODULATION,
    PEDALS,
    RESET_ALL_CONTROLLERS,
    RESTS,
)
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, NOTE_OFF, PITCH_BEND


class Silencing(NamedTuple):
    """How everything is ended at once: the sweep of a panic, on all channels, and what else it does.

    `each_press`: whether a key gets a note-off for each of its presses, or one. `resets_filters`: whether filters
    forget what they hold, such as a latch that is on. `edits_reset_filters`: whether those of routes of every scene do
    so when the rig is edited, too. `again_ns`: a panic this soon after the last sends a note-off for every key as well.
    """

    sweep: tuple[bytes, ...]
    each_press: bool = False
    resets_filters: bool = True
    edits_reset_filters: bool = False
    again_ns: int = 2_000_000_000


def _sweep(*controllers: int) -> tuple[bytes, ...]:
    """These controllers at 0, then the bends at their centre, on all channels."""
    ended = [bytes((CONTROLLER | ch, number, 0)) for number in controllers for ch in range(16)]
    return (*ended, *(bytes((PITCH_BEND | ch, 0x00, 0x40)) for ch in range(16)))


def _wheels() -> tuple[bytes, ...]:
    wheels = ((CONTROLLER, number, RESTS[number]) for number in (MODULATION, EXPRESSION))
    resets = ((CONTROLLER, RESET_ALL_CONTROLLERS, 0), *wheels, (AFTERTOUCH, 0))
    return tuple(bytes((reset[0] | ch, *reset[1:])) for reset in resets for ch in range(16))


#: a panic on all channels: silence first, then pedals up, which end what they held through All Notes Off
SWEEP: Final = _sweep(ALL_SOUND_OFF, ALL_NOTES_OFF, *PEDALS)
SILENCING: Final = Silencing(SWEEP)
#: as it was when flight recordings had format 1, which are replayed with it
SILENCING_1: Final = Silencing(
    _sweep(*PEDALS, ALL_NOTES_OFF, ALL_SOUND_OFF),
    each_press=True,
    resets_filters=False,
    edits_reset_filters=True,
    again_ns=0,
)
#: for instruments that ignore All Notes Off: each key of each channel, velocity 64 (MIDI 1.0 p. 10)
EVERY_KEY: Final = tuple(bytes((NOTE_OFF | ch, key, 64)) for ch in range(16) for key in range(128))
#: Reset All Controllers (RP-015), and some of what it resets, for instruments that ignore it
WHEELS: Final = _wheels()
