"""MIDI Show Control messages, with which a desk or a stage manager runs the cues of a show.

Source: MIDI Show Control 1.1.1, RP-002/RP-014: frame 2.1, device ids 2.2, cue numbers 3.1, formats 4.1, commands 4.3.
`F0 7F device 02 format command data F7`, one command per message, at most 128 bytes.
"""

import re
from dataclasses import dataclass
from typing import Final

LIGHTING: Final = 0x01
SOUND: Final = 0x10
ALL_TYPES: Final = 0x7F
ALL_CALL: Final = 0x7F  # the device id that means all devices

#: the formats that a rig obeys, by their names in the rig file; 11 to 1F are kinds of sound. Those for machinery,
#: process control and pyrotechnics are not here: such a cue must never recall a scene.
SHOW_FORMATS: Final = {
    "lighting": frozenset((LIGHTING,)),
    "sound": frozenset(range(SOUND, SOUND + 16)),
    "all": frozenset((ALL_TYPES,)),
}

COMMANDS: Final = {
    0x01: "go",
    0x02: "stop",
    0x03: "resume",
    0x04: "timed_go",
    0x05: "load",
    0x06: "set",
    0x07: "fire",
    0x08: "all_off",
    0x09: "restore",
    0x0A: "reset",
    0x0B: "go_off",
}
_ZEROS: Final = re.compile("^0+(?=[0-9])")
_LONGEST: Final = 128
_START: Final = b"\xf0\x7f"
_SHOW_CONTROL: Final = 0x02
_CUE: Final = re.compile(rb"[0-9]+(?:\.[0-9]+)*")
_WITH_CUE: Final = ("go", "stop", "resume", "timed_go", "load", "go_off")
# how many bytes of settings come first: a time, a control with its value and perhaps a time, a macro
_SETTINGS: Final = {"timed_go": (5,), "set": (4, 9), "fire": (1,)}


@dataclass(frozen=True)
class ShowControl:
    """One message. Cue, list and path are numbers as the standard writes them, such as "235.6"; None if not given."""

    device: int  # 0 to 0x6F one, 0x70 to 0x7E a group, 0x7F all
    format: int  # 1 to 0x7F: LIGHTING, SOUND, ...
    command: str  # a name of COMMANDS
    cue: str | None = None
    cue_list: str | None = None
    path: str | None = None
    settings: bytes = b""  # the time of timed_go, the control and value of set, the macro of fire


def go(cue: str, device: int) -> bytes:
    """GO for this cue, in the format "all types"."""
    command = next(code for code, name in COMMANDS.items() if name == "go")
    return bytes((*_START, device, _SHOW_CONTROL, ALL_TYPES, command, *cue.encode("ascii"), 0xF7))


def plain_cue(cue: str) -> str:
    """A cue or a list as it is compared: zeros before the first digit that counts do not matter."""
    return _ZEROS.sub("", cue)


def read_show_control(message: bytes) -> ShowControl | None:
    """What a message says; None if it is not show control, or not as the standard defines it."""
    if not 7 <= len(message) <= _LONGEST or message[:2] != _START or message[3] != _SHOW_CONTROL:
        return None
    device, form, code, data = message[2], message[4], message[5], message[6:-1]
    command = COMMANDS.get(code)
    if message[-1] != 0xF7 or any(byte > 0x7F for byte in message[1:-1]) or not form or command is None:
        return None
    lengths = _SETTINGS.get(command, (0,))
    if command not in _WITH_CUE:
        return ShowControl(device, form, command, settings=data) if len(data) in lengths else None
    settings, cues = data[: lengths[0]], data[lengths[0] :]
    stem = cues.rstrip(b"\x00")  # desks send empty fields at the end (common practice, no source)
    fields = stem.split(b"\x00") if cues else []
    if len(settings) < lengths[0] or cues.count(0) > 2 or not all(_CUE.fullmatch(field) for field in fields):
        return None
    if command == "load" and not fields:
        return None
    texts: list[str | None] = [field.decode("ascii") for field in fields]
    cue, cue_list, path = [*texts, None, None, None][:3]
    return ShowControl(device, form, command, cue, cue_list, path, settings)
