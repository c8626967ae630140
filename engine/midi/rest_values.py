"""The message that brings back to rest what another one moved: pedals, wheels, bends, pressures, parameter numbers.

Values at rest: RP-015, and the table of controllers where it leaves them open.
"""

from engine.midi.controllers import MSB_OF, RESTS
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH


def rest_of(message: bytes) -> bytes | None:
    """The message that brings back to rest what this one moves; None if it moves nothing that has a rest."""
    kind = message[0] & 0xF0
    if kind == CONTROLLER:
        number = MSB_OF.get(message[1], message[1])
        value = RESTS.get(number)
        return None if value is None else bytes((message[0], number, value))
    if kind == POLY_AFTERTOUCH:
        return bytes((message[0], message[1], 0))
    if kind == AFTERTOUCH:
        return bytes((message[0], 0))
    if kind == PITCH_BEND:
        return bytes((message[0], 0x00, 0x40))
    return None
