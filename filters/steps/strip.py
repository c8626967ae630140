"""The step of `strip`."""

from collections.abc import Set

from engine.midi.kinds import CONTROLLER, SYSEX
from filters.registry import Step


def leaving_out(statuses: Set[int], controllers: Set[int], timecode: bool) -> Step:
    """Messages with these status bytes and controllers of these numbers are stopped; `timecode`: SysEx of it, too."""

    def strip(message: bytes, now: int) -> tuple[bytes, ...]:
        status = message[0]
        if status in statuses:
            return ()
        if status & 0xF0 == CONTROLLER and message[1] in controllers:
            return ()
        if timecode and status == SYSEX and _is_timecode(message):
            return ()
        return (message,)

    return strip


def _is_timecode(sysex: bytes) -> bool:
    """Universal real-time SysEx with sub-id 01, for any device (MIDI Time Code, RP-004, p. 5 and 6)."""
    return len(sysex) > 4 and sysex[1] == 0x7F and sysex[3] == 0x01
