"""MIDI Machine Control messages: the transport keys of a tape machine, and where to locate to.

Source: MIDI Machine Control 1.0, RP-013, command index and LOCATE [TARGET]; time fields as in RP-002/RP-014 3.2.1.
`F0 7F device 06 command F7`. A message that carries several commands is not read.
"""

from dataclasses import dataclass
from typing import Final

from engine.midi.timecode import RATES, Label, label_of

ALL_CALL: Final = 0x7F  # the device id that means all devices

COMMANDS: Final = {
    0x01: "stop",
    0x02: "play",
    0x03: "deferred play",  # as soon as a locate under way has arrived
    0x04: "fast forward",
    0x05: "rewind",
    0x06: "record strobe",
    0x07: "record exit",
    0x08: "record pause",
    0x09: "pause",
    0x0A: "eject",
    0x0D: "reset",
}
_RATES: Final = {rate.code: rate for rate in RATES.values()}
_START: Final = b"\xf0\x7f"
_TO_MACHINE: Final = 0x06
_LOCATE: Final = b"\x44\x06\x01"  # the command, six bytes follow, to the target that they name
_LAST_HUNDREDTH: Final = 99
_COLOUR_FRAME: Final = 0x40  # a flag in the minutes, ignored here
_STATUS_LAST: Final = 0x20  # a flag in the frames: the last byte is a status, not hundredths


@dataclass(frozen=True)
class MachineControl:
    """One message. `target` is where to locate to, and None for every other command."""

    device: int  # 0 to 0x7E one, 0x7F all
    command: str  # a name of COMMANDS, or "locate"
    target: Label | None = None
    hundredths: int = 0  # of a frame, beyond the target


def read_machine_control(message: bytes) -> MachineControl | None:
    """What a message says; None if it is not machine control, or not as the standard defines it."""
    if len(message) not in (6, 13) or message[:2] != _START or message[3] != _TO_MACHINE or message[-1] != 0xF7:
        return None
    if any(byte > 0x7F for byte in message[1:-1]):
        return None
    if len(message) == 6:
        command = COMMANDS.get(message[4])
        return None if command is None else MachineControl(message[2], command)
    return _read_locate(message[2], message[7:12]) if message[4:7] == _LOCATE else None


def _read_locate(device: int, time: bytes) -> MachineControl | None:
    hours, minutes, seconds, frames, last = time
    if frames & _STATUS_LAST:
        frames, last = frames & ~_STATUS_LAST, 0
    if last > _LAST_HUNDREDTH:
        return None
    try:
        # the sign of a negative time is a bit that makes the frames too high
        target = label_of(_RATES[hours >> 5], hours & 0x1F, minutes & ~_COLOUR_FRAME, seconds, frames)
    except ValueError:
        return None
    return MachineControl(device, "locate", target, last)
