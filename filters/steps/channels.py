"""The step of `channels`."""

from collections.abc import Sequence

from engine.midi.kinds import SYSEX
from filters.registry import Step


def changing_statuses(statuses: Sequence[bytes | None]) -> Step:
    """Status bytes below SysEx become what stands at their place in `statuses`; None stops the message."""

    def channels(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] >= SYSEX:
            return (message,)
        status = statuses[message[0]]
        return () if status is None else (status + message[1:],)

    return channels
