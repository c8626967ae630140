"""What silences an instrument and sets it to rest, whatever it was told before."""

from typing import Final

from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND

# Controllers of a panic, on every channel: pedals up, all notes off, all sound off (MIDI 1.0 Tables III and IV).
_PANIC_CONTROLLERS: Final = (64, 66, 67, 69, 123, 120)


def _sweep() -> tuple[bytes, ...]:
    controllers = [bytes((CONTROLLER | ch, number, 0)) for number in _PANIC_CONTROLLERS for ch in range(16)]
    return (*controllers, *(bytes((PITCH_BEND | ch, 0x00, 0x40)) for ch in range(16)))


def _wheels() -> tuple[bytes, ...]:
    resets = ((CONTROLLER, 121, 0), (CONTROLLER, 1, 0), (CONTROLLER, 11, 127), (AFTERTOUCH, 0))
    return tuple(bytes((reset[0] | ch, *reset[1:])) for reset in resets for ch in range(16))


#: a panic on all channels
SWEEP: Final = _sweep()
#: modulation and pressure, which a panic leaves alone, and whatever else Reset All Controllers resets (RP-015)
WHEELS: Final = _wheels()
