"""The step of `transpose`."""

from collections.abc import Sequence

from engine.midi.kinds import CONTROLLER
from filters.registry import Step


def moving_notes(notes: Sequence[int | None]) -> Step:
    """Notes and their pressure become what stands at their place in `notes`; None stops them."""

    def transpose(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= CONTROLLER:
            return (message,)
        note = notes[message[1]]
        return () if note is None else (bytes((message[0], note, message[2])),)

    return transpose
