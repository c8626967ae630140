"""The step of `velocity`."""

from engine.midi.kinds import is_press
from filters.registry import Step


def striking(velocities: bytes) -> Step:
    """Each press gets the velocity that stands at the place of its own."""

    def velocity(message: bytes, now: int) -> tuple[bytes, ...]:
        if not is_press(message):
            return (message,)
        return (bytes((message[0], message[1], velocities[message[2]])),)

    return velocity
