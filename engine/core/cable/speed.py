"""How fast a cable carries bytes, and what a message costs on it.

A DIN cable carries 31,250 bits per second and ten bits per byte: 320 µs per byte (MIDI 1.0 p. 1).
"""

from dataclasses import dataclass, replace
from typing import Final

from engine.midi.kinds import FIRST_REAL_TIME, SYSEX
from engine.rig.models.rig import Output


@dataclass(frozen=True, slots=True)
class CableSpeed:
    """What a cable can carry.

    `byte_ns`: nanoseconds per byte; `ahead_ns`: how far ahead of now the driver may be loaded; `overhead`: bytes that
    each message costs beside its own; `running_status`: whether a status byte that repeats the one before is left out
    (MIDI 1.0 p. A-1).
    """

    byte_ns: int
    ahead_ns: int
    overhead: int = 0
    running_status: bool = False

    def cost(self, message: bytes, status: int = 0) -> int:
        """Nanoseconds this message takes; `status` is the running status before it, 0 if there is none."""
        saved = self.running_status and message[0] == status and status < SYSEX
        return (len(message) + self.overhead - saved) * self.byte_ns


DIN: Final = CableSpeed(byte_ns=320_000, ahead_ns=3_000_000)
DIN_RUNNING: Final = replace(DIN, running_status=True)


def pace(output: Output | None, driver: CableSpeed | None) -> CableSpeed | None:
    """How an output of a rig is paced: at the speed of its DIN cable, or as its `driver` needs it. None: not at all."""
    if output is None or output.wire != "din":
        return driver
    return DIN_RUNNING if output.running_status else DIN


def status_after(message: bytes, status: int) -> int:
    """The running status after a message, as a sender keeps it: real-time bytes do not change it (p. A-2)."""
    return message[0] if message[0] < SYSEX else status if message[0] >= FIRST_REAL_TIME else 0
