"""The step of `catch`."""

from collections.abc import Callable, Set

from engine.midi.controllers import MSB_OF
from engine.midi.kinds import CONTROLLER
from filters.registry import Step


def catching(numbers: Set[int], in_force: Callable[[bytes], int | None]) -> Step:
    """Remember, by status byte and controller, which of these faders have caught their value, and where the others are.

    `in_force`: the value that a message's controller has where the message would go; None if it is not known.
    """
    caught: set[tuple[int, int]] = set()
    places: dict[tuple[int, int], int] = {}

    def catch(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != CONTROLLER:
            return (message,)
        number = MSB_OF.get(message[1], message[1])
        if number not in numbers:
            return (message,)
        fader = (message[0], number)
        if number == message[1] and fader not in caught:
            before, places[fader] = places.get(fader, message[2]), message[2]
            if _meets(in_force(message), before, message[2]):
                caught.add(fader)
        return (message,) if fader in caught else ()

    return catch


def _meets(value: int | None, before: int, now: int) -> bool:
    """Whether a fader that moves from one place to another comes by this value."""
    return value is None or min(before, now) <= value <= max(before, now)
