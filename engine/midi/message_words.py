"""Messages and numbers in musicians' words, and as hexadecimal.

Sources: MIDI 1.0 Detailed Specification 4.2.1, Tables III to VI; MIDI Association Table 3 (controllers).
Octave numbers are not standardised: here note 60 (middle C) is C4; some makers print C3 for the same key.
"""

import re
from typing import Final

from engine.midi.kinds import (
    AFTERTOUCH,
    CONTROLLER,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    POLY_AFTERTOUCH,
    PROGRAM,
    Message,
    is_whole,
    kind_of,
)

_PITCHES: Final = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_STEPS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ALTERED: Final = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NOTE: Final = re.compile(r"([A-Ga-g])([#♯b♭]?)(-1|[0-9])")

_HIGH_BYTES: Final = {
    0: "bank",
    1: "modulation",
    2: "breath",
    4: "foot controller",
    5: "portamento time",
    6: "data entry",
    7: "volume",
    8: "balance",
    10: "pan",
    11: "expression",
    12: "effect control 1",
    13: "effect control 2",
    16: "general purpose 1",
    17: "general purpose 2",
    18: "general purpose 3",
    19: "general purpose 4",
}
_SINGLE_BYTES: Final = {
    64: "sustain pedal",
    65: "portamento switch",
    66: "sostenuto pedal",
    67: "soft pedal",
    68: "legato pedal",
    69: "hold 2 pedal",
    70: "sound variation",
    71: "timbre",
    72: "release time",
    73: "attack time",
    74: "brightness",
    75: "decay time",
    76: "vibrato rate",
    77: "vibrato depth",
    78: "vibrato delay",
    79: "sound controller 10",
    80: "general purpose 5",
    81: "general purpose 6",
    82: "general purpose 7",
    83: "general purpose 8",
    84: "portamento control",
    88: "high resolution velocity",
    91: "reverb send",
    92: "tremolo depth",
    93: "chorus send",
    94: "celeste depth",
    95: "phaser depth",
    96: "data increment",
    97: "data decrement",
    98: "NRPN LSB",
    99: "NRPN MSB",
    100: "RPN LSB",
    101: "RPN MSB",
    120: "all sound off",
    121: "reset all controllers",
    122: "local control",
    123: "all notes off",
    124: "omni off",
    125: "omni on",
    126: "mono on",
    127: "poly on",
}
# Bank and data entry are spoken of by byte; of the rest, the high byte alone is what players call by the name.
_SPOKEN_BY_BYTE: Final = (0, 6)
_CONTROLLERS: Final = (
    _SINGLE_BYTES
    | {n: f"{name} MSB" if n in _SPOKEN_BY_BYTE else name for n, name in _HIGH_BYTES.items()}
    | {n + 32: f"{name} LSB" for n, name in _HIGH_BYTES.items()}
)

SWITCHES: Final = range(64, 70)  # pedals and switches: 0 to 63 is off, 64 to 127 on (MIDI 1.0 p. 12)
MODE_MESSAGES: Final = range(120, 128)  # channel mode messages, in the guise of controllers (MIDI 1.0 Table IV)

_TIMECODE_PIECES: Final = (
    "frames low",
    "frames high",
    "seconds low",
    "seconds high",
    "minutes low",
    "minutes high",
    "hours low",
    "hours high and rate",
)
_SYSEX_SHOWN: Final = 12  # bytes; enough for the maker, the model and the command


def note_name(number: int) -> str:
    """0 to 127 as "C-1" to "G9", black keys as sharps; 60 is "C4"."""
    return f"{_PITCHES[number % 12]}{number // 12 - 1}"


def note_number(text: str) -> int:
    """ "C4" is 60, "F#3" 54, "Bb2" 46. Raises ValueError that says what is allowed."""
    match = _NOTE.fullmatch(text.strip())
    number = _STEPS[match[1].upper()] + _ALTERED[match[2]] + 12 * (int(match[3]) + 1) if match else -1
    if not 0 <= number <= 127:
        raise ValueError('a note name from "C-1" to "G9", such as "C4" (middle C, note 60), "F#3" or "Bb2"')
    return number


def controller_name(number: int) -> str:
    """What a controller of 0 to 127 is called; "controller 3" where the standard gives no name."""
    return _CONTROLLERS.get(number, f"controller {number}")


def to_hex(message: Message) -> str:
    """Bytes as "90 3C 40"."""
    return message.hex(" ").upper()


def from_hex(text: str) -> Message:
    """One whole message from "90 3C 40" or "903c40". Raises ValueError that says what is allowed."""
    try:
        message = bytes.fromhex(text)
    except ValueError:
        message = b""
    if not is_whole(message):
        raise ValueError('one whole MIDI message in hexadecimal, such as "90 3C 40" or "F0 7D 01 F7"')
    return message


def describe(message: Message) -> str:
    """A whole message as a musician would say it: "channel 5 note on C4 velocity 100"."""
    if message[0] >= 0xF0:
        return _describe_system(message)
    return f"channel {(message[0] & 0x0F) + 1} {_describe_voice(message)}"


def _describe_voice(message: Message) -> str:
    status, first = message[0] & 0xF0, message[1]
    if status == NOTE_ON and message[2] == 0:
        return f"note off {note_name(first)} (as a note on of velocity 0)"
    if status == NOTE_ON:
        return f"note on {note_name(first)} velocity {message[2]}"
    if status == NOTE_OFF:
        return f"note off {note_name(first)} velocity {message[2]}"
    if status == POLY_AFTERTOUCH:
        return f"key pressure {note_name(first)} {message[2]}"
    if status == CONTROLLER:
        return _describe_controller(first, message[2])
    if status == PROGRAM:
        return f"program {first + 1}"
    if status == AFTERTOUCH:
        return f"aftertouch {first}"
    assert status == PITCH_BEND
    bend = (message[2] << 7 | first) - 8192
    return f"pitch bend {bend:+d}" if bend else "pitch bend centre"


def _describe_controller(number: int, value: int) -> str:
    name = controller_name(number)
    if number == 122:
        return f"{name} {'on' if value >= 64 else 'off'}"
    if number == 126:
        return f"{name}, {value} channels"
    if number in MODE_MESSAGES:
        return name
    if number in SWITCHES:
        up, down = ("up", "down") if name.endswith("pedal") else ("off", "on")
        return f"{name} {value} ({down if value >= 64 else up})"
    return f"{name} {value}" if number in _CONTROLLERS else f"{name} value {value}"


def _describe_system(message: Message) -> str:
    name = kind_of(message).name.replace("_", " ")
    if name == "sysex":
        shown = to_hex(message[:_SYSEX_SHOWN])
        return f"SysEx {len(message)} bytes: {shown}{' …' if len(message) > _SYSEX_SHOWN else ''}"
    if name == "timecode":
        piece, value = message[1] >> 4, message[1] & 0x0F
        return f"time code quarter frame {piece} ({_TIMECODE_PIECES[piece]}) {value}"
    if name == "song position":
        return f"song position {message[2] << 7 | message[1]} sixteenths"
    if name == "song select":
        return f"song {message[1] + 1}"
    return name
