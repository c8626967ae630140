"""Writes messages and numbers in musicians' words and in hexadecimal, and reads them.

Sources: MIDI 1.0 Detailed Specification 4.2.1, Tables III to VI; MIDI Association Table 3 (controllers).
Octave numbers are not standardised: some manufacturers print note 60 (middle C) as C4, others as C3 or C5.
"""

import re
from collections.abc import Callable
from typing import Final, Literal, get_args

from engine.midi.controllers import LOCAL_CONTROL, MODE_MESSAGES, MONO_ON, NAMES, ON_FROM, SWITCHES
from engine.midi.key_messages import key_name, read_key
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
_NOTE: Final = re.compile(r"([A-Ga-g])([#♯b♭]?)(-[12]|[0-9]|10)")

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
_SYSEX_SHOWN: Final = 12  # bytes; enough for the manufacturer, the model and the command


#: how the gear prints note 60
MiddleC = Literal["C3", "C4", "C5"]
MIDDLE_CS: Final[tuple[MiddleC, ...]] = get_args(MiddleC)
_MIDDLE_C: Final = 60


def note_name(number: int, middle_c: MiddleC = "C4") -> str:
    """0 to 127 as "C-1" to "G9", black keys as sharps; 60 is `middle_c`."""
    return f"{_PITCHES[number % 12]}{number // 12 + _lowest_octave(middle_c)}"


def note_range(ends: tuple[int, int], middle_c: MiddleC = "C4") -> str:
    """The ends of a range of notes as a rig file has them: "..B3" for (0, 59), "C4..E5", "C4.."."""
    return open_range(ends, lambda number: note_name(number, middle_c))


def open_range(ends: tuple[int, int], word: Callable[[int], str] = str) -> str:
    """A range of 0 to 127; an end that is no limit is left out."""
    lowest, highest = ends
    return f"{word(lowest) if lowest > 0 else ''}..{word(highest) if highest < 127 else ''}"


def note_number(text: str, middle_c: MiddleC = "C4") -> int:
    """ "C4" is 60, "F#3" 54, "Bb2" 46, if 60 is "C4". Raises ValueError, which says what is allowed."""
    match = _NOTE.fullmatch(text.strip())
    lowest = _lowest_octave(middle_c)
    number = _STEPS[match[1].upper()] + _ALTERED[match[2]] + 12 * (int(match[3]) - lowest) if match else -1
    if not 0 <= number <= 127:
        ends = f'"{note_name(0, middle_c)}" to "{note_name(127, middle_c)}"'
        raise ValueError(f'a note name from {ends}, such as "{middle_c}" (middle C, note 60), "F#3" or "Bb2"')
    return number


def _lowest_octave(middle_c: MiddleC) -> int:
    return int(middle_c[1]) - _MIDDLE_C // 12


def controller_name(number: int) -> str:
    """The name of a controller of 0 to 127; "controller 3" where the standard gives none."""
    return NAMES.get(number, f"controller {number}")


def to_hex(message: Message) -> str:
    """Bytes as "90 3C 40"."""
    return message.hex(" ").upper()


def from_hex(text: str) -> Message:
    """One whole message from "90 3C 40" or "903c40". Raises ValueError, which says what is allowed."""
    try:
        message = bytes.fromhex(text)
    except ValueError:
        message = b""
    if not is_whole(message):
        raise ValueError('one whole MIDI message in hexadecimal, such as "90 3C 40" or "F0 7D 01 F7"')
    return message


def describe(message: Message, middle_c: MiddleC = "C4") -> str:
    """A whole message in words: "channel 5 note on C4 velocity 100"; note 60 is `middle_c`."""
    if message[0] >= 0xF0:
        return _describe_system(message)
    return f"channel {(message[0] & 0x0F) + 1} {_describe_voice(message, middle_c)}"


def _describe_voice(message: Message, middle_c: MiddleC) -> str:
    status, first = message[0] & 0xF0, message[1]
    if status == NOTE_ON and message[2] == 0:
        return f"note off {note_name(first, middle_c)} (sent as note on, velocity 0)"
    if status == NOTE_ON:
        return f"note on {note_name(first, middle_c)} velocity {message[2]}"
    if status == NOTE_OFF:
        return f"note off {note_name(first, middle_c)} velocity {message[2]}"
    if status == POLY_AFTERTOUCH:
        return f"key pressure {note_name(first, middle_c)} {message[2]}"
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
    if number == LOCAL_CONTROL:
        return f"{name} {'on' if value >= ON_FROM else 'off'}"
    if number == MONO_ON:
        return f"{name}, {value} channels"
    if number in MODE_MESSAGES:
        return name
    if number in SWITCHES:
        up, down = ("up", "down") if name.endswith("pedal") else ("off", "on")
        return f"{name} {value} ({down if value >= ON_FROM else up})"
    return controller_words(number, value)


def controller_words(number: int, value: int) -> str:
    """A controller and its value, whatever that means: "volume 90", "controller 3 value 5"."""
    return f"{controller_name(number)} {'' if number in NAMES else 'value '}{value}"


def _describe_system(message: Message) -> str:
    name = kind_of(message).name.replace("_", " ")
    if (key := read_key(message)) is not None:
        return f"key {key_name(key.code)} {'down' if key.down else 'up'}"
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
