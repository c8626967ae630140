"""The messages that silence an instrument and set it to rest, whatever was sent before."""

from typing import Final

from engine.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    EXPRESSION,
    MODULATION,
    PEDALS,
    RESET_ALL_CONTROLLERS,
    RESTS,
)
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND

# Controllers of a panic, on every channel: pedals up, all notes off, all sound off.
_PANIC_CONTROLLERS: Final = (*PEDALS, ALL_NOTES_OFF, ALL_SOUND_OFF)


def _sweep() -> tuple[bytes, ...]:
    controllers = [bytes((CONTROLLER | ch, number, 0)) for number in _PANIC_CONTROLLERS for ch in range(16)]
    return (*controllers, *(bytes((PITCH_BEND | ch, 0x00, 0x40)) for ch in range(16)))


def _wheels() -> tuple[bytes, ...]:
    wheels = ((CONTROLLER, number, RESTS[number]) for number in (MODULATION, EXPRESSION))
    resets = ((CONTROLLER, RESET_ALL_CONTROLLERS, 0), *wheels, (AFTERTOUCH, 0))
    return tuple(bytes((reset[0] | ch, *reset[1:])) for reset in resets for ch in range(16))


#: a panic on all channels
SWEEP: Final = _sweep()
#: Reset All Controllers (RP-015), and some of what it resets, for instruments that ignore it
WHEELS: Final = _wheels()
