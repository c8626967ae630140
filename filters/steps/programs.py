"""The step of `programs`."""

from collections.abc import Mapping

from engine.midi.kinds import PROGRAM
from filters.registry import Step


def choosing(programs: Mapping[int, int]) -> Step:
    """These programs, by the number in the message, become others."""

    def change(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xF0 != PROGRAM or message[1] not in programs:
            return (message,)
        return (bytes((message[0], programs[message[1]])),)

    return change
