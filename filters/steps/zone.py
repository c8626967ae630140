"""The step of `zone`."""

from collections.abc import Mapping

from engine.midi.kinds import CONTROLLER, is_press
from filters.registry import Step


def within(notes: tuple[int, int], velocities: tuple[int, int], faded: Mapping[int, bytes]) -> Step:
    """What lies between both ends passes; `faded`: by note, the new velocity of each, empty if nothing fades."""
    lowest, highest = notes
    softest, hardest = velocities

    def zone(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= CONTROLLER:
            return (message,)
        note = message[1]
        if not lowest <= note <= highest:
            return ()
        if is_press(message):
            if not softest <= message[2] <= hardest:
                return ()
            if faded:
                return (bytes((message[0], note, faded[note][message[2]])),)
        return (message,)

    return zone
