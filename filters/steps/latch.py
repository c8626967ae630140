"""The step of `latch`."""

from collections.abc import Set

from engine.midi.controllers import ON_FROM
from engine.midi.kinds import CONTROLLER
from filters.registry import Step


def latching(numbers: Set[int]) -> Step:
    """Remember which of these switches are held and which are on, by status byte and controller number."""
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
