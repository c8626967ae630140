"""The step of `notes`."""

from collections.abc import Mapping

from engine.midi.kinds import CONTROLLER
from filters.registry import Step


def exchanging(goes_to: Mapping[int, int]) -> Step:
    """These notes, and their pressure, become others."""

    def notes(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= CONTROLLER or message[1] not in goes_to:
            return (message,)
        return (bytes((message[0], goes_to[message[1]], message[2])),)

    return notes
