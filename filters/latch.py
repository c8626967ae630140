"""Makes a momentary switch latch: press for on, press again for off.

`controllers = [64]` for a sustain pedal. Each press (from below 64 to 64 or more) sends 127 and 0 alternately; the
release sends nothing. Channels are counted separately. Each starts off, and is off again after a panic.
"""

from typing import Literal

from engine.midi.controllers import ON_FROM
from engine.midi.kinds import CONTROLLER
from filters._values import Controllers
from filters.registry import FilterSettings, Step

KEEPS_STATE = True


class Settings(FilterSettings):
    """Controller numbers 0 to 119."""

    filter: Literal["latch"]
    controllers: Controllers


def build(settings: Settings) -> Step:
    """Remember which switches are held and which are on, by status byte and controller number."""
    numbers = frozenset(settings.controllers)
    held: set[bytes] = set()
    on: set[bytes] = set()

    def latch(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != CONTROLLER or message[1] not in numbers:
            return (message,)
        switch = message[:2]
        if message[2] < ON_FROM:
            held.discard(switch)
            return ()
        if switch in held:
            return ()
        held.add(switch)
        on.symmetric_difference_update((switch,))
        return (switch + (b"\x7f" if switch in on else b"\x00"),)

    return latch
