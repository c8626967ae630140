"""The step of `controllers`."""

from collections.abc import Mapping

from engine.midi.kinds import CONTROLLER
from filters.registry import Step


def reshaping(numbers: Mapping[int, int], changed: Mapping[int, bytes]) -> Step:
    """Controllers get new numbers, and none that is not in `numbers` passes; `changed`: by number as it came in, the
    128 new values."""

    def controllers(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != CONTROLLER:
            return (message,)
        number, value = message[1], message[2]
        if number not in numbers:
            return ()
        if number in changed:
            value = changed[number][value]
        return (bytes((message[0], numbers[number], value)),)

    return controllers
