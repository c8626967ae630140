"""The values of the rig file: channels, programs, times, names and messages, with the errors about wrong ones.

Numbers are the ones printed on gear: channels 1 to 16, programs 1 to 128, banks and values 0 to 127.
"""

import re
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, PlainSerializer

from engine.midi.kinds import is_whole
from engine.midi.setup_words import ALLOWED, Receiver, nearest_words, set_up
from engine.rig.models.references import Reference
from filters._values import TABLE, NoteKey
from filters.strip import known_kind

_TIME = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?(ms|s)")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")
_FURTHEST = 100_000_000  # ns; a larger offset is no latency of gear
_LONGEST = 60_000_000_000  # ns; a longer settle time or guard is a typing mistake

LONGEST_NAME: Final = 1000  # characters; names are in every status


def between(low: int, high: int) -> AfterValidator:
    """A whole number in a range, both ends included; the error gives the range."""

    def check(found: int) -> int:
        if not low <= found <= high:
            raise ValueError(f"{low} to {high}")
        return found

    return AfterValidator(check)


def _program(found: int) -> int:
    """Whether 0 or 128 is too far depends on programs_from, which `cross_checks` compares."""
    if not 0 <= found <= 128:
        raise ValueError("1 to 128, or 0 to 127 for an instrument with programs_from = 0")
    return found


Channel = Annotated[int, between(1, 16)]


def _channels(found: Any) -> Any:
    if not isinstance(found, list):
        raise ValueError("a list of channels, such as [11, 12]")
    return tuple(found)


Channels = Annotated[tuple[Channel, ...], BeforeValidator(_channels)]
Value = Annotated[int, between(0, 127)]
PrintedProgram = Annotated[int, AfterValidator(_program)]
BankUse = Literal["none", "msb", "lsb", "msb lsb"]


def _bank(found: Any) -> Any:
    if not isinstance(found, list) or len(found) != 2:
        raise ValueError("a bank as [msb, lsb]")
    return tuple(found)


Bank = Annotated[tuple[Value, Value], BeforeValidator(_bank)]


def _plain(found: str) -> str:
    """It is shown in terminals, which react to control characters."""
    if _CONTROL.search(found):
        raise ValueError("text without control characters")
    return _short(found)


def _shown(found: str) -> str:
    """Text of several lines, for players."""
    for line in found.split("\n"):
        _plain(line)
    return _short(found)


def _short(found: str) -> str:
    if len(found) > LONGEST_NAME:
        raise ValueError(f"text of at most {LONGEST_NAME:,} characters")
    return found


def _text(found: str) -> str:
    if not found.strip():
        raise ValueError("text that is not empty")
    return _short(found)


Plain = Annotated[str, AfterValidator(_plain)]
ShownText = Annotated[str, AfterValidator(_shown)]
Text = Annotated[str, AfterValidator(_text)]
Name = Annotated[Plain, AfterValidator(_text)]


#: keys by number or name, and what they are called
KeyNames = Annotated[dict[NoteKey, Name], TABLE]


def _names(found: Any) -> Any:
    """One name or a list of names, as a tuple."""
    if isinstance(found, str):
        return (found,)
    if not isinstance(found, list) or not found:
        raise ValueError('a name, or a list of names such as ["keys", "pads"]')
    return tuple(found)


def _names_or_none(found: Any) -> Any:
    """The same, or an empty list."""
    return () if found == [] else _names(found)


def _order(found: Any) -> Any:
    """A set list's scenes, as a tuple."""
    if not isinstance(found, list) or not found:
        raise ValueError('a list of at least one scene, by number or name, such as [11, "Finale"]')
    return tuple(found)


def _songs(found: Any) -> Any:
    """A set list's songs, as a tuple."""
    if not isinstance(found, list) or not found:
        raise ValueError('a list of at least one song by name, such as ["Market", "Bridge"]')
    return tuple(found)


def _messages(found: Any) -> Any:
    """Messages in hexadecimal, as bytes."""
    try:
        listed = tuple(bytes.fromhex(one) for one in found) if isinstance(found, list) else ()
    except (TypeError, ValueError):
        listed = ()
    if not listed or not all(is_whole(one) for one in listed):
        raise ValueError('a list of complete messages in hexadecimal, such as ["B0 07 64", "F0 7D 01 F7"]')
    return listed


def _whole_sysex(found: str) -> str:
    try:
        message = bytes.fromhex(found)
    except ValueError:
        message = b""
    if len(message) < 3 or message[0] != 0xF0 or message[-1] != 0xF7 or max(message[1:-1]) > 0x7F:
        raise ValueError('a complete SysEx message in hexadecimal, such as "F0 7D 01 F7"')
    return message.hex(" ").upper()


def _milliseconds(found: Any) -> Any:
    """ "30 ms" or "1.5 s" as nanoseconds."""
    match = _TIME.fullmatch(found.strip()) if isinstance(found, str) else None
    nanoseconds = round(float(match[1]) * (1_000_000 if match[2] == "ms" else 1_000_000_000)) if match else None
    if nanoseconds is None or nanoseconds > _LONGEST:
        raise ValueError('a time with its unit, up to a minute, such as "30 ms" or "1.5 s"')
    return nanoseconds


def _shift(found: Any) -> Any:
    """ "-4 ms" as nanoseconds."""
    match = re.fullmatch(r"([+-]?[0-9]{1,3}(?:\.[0-9]{1,6})?) ?ms", found.strip()) if isinstance(found, str) else None
    nanoseconds = round(float(match[1]) * 1_000_000) if match else None
    if nanoseconds is None or abs(nanoseconds) > _FURTHEST:
        raise ValueError('a time from "-100 ms" to "100 ms", such as "-4 ms"')
    return nanoseconds


def _tempo(found: Any) -> Any:
    if isinstance(found, bool) or not isinstance(found, int | float) or not 20 <= found <= 300:
        raise ValueError("20 to 300 beats per minute")
    return float(found)


def _setup_lines(found: Any) -> Any:
    """A list, as a tuple."""
    if not isinstance(found, list):
        raise ValueError('a list of messages, such as ["volume 90", "start"]')
    return tuple(found)


def _setup_line(line: str) -> str:
    """Messages in words, kept as they are written; which programs there are depends on programs_from."""
    allowed = _allowed_instead(line)
    if allowed is not None:
        near = nearest_words(line) if allowed == ALLOWED else None
        remedy = f'did you mean "{near}"? ' if near else ""
        raise ValueError(f"{remedy}allowed: {allowed}")
    return line


def _allowed_instead(line: str) -> str | None:
    """None if the words are right, whichever program is the first."""
    allowed = None
    for programs_from in (0, 1):
        try:
            set_up(line, Receiver(programs_from=programs_from))
        except ValueError as fault:
            allowed = str(fault)
        else:
            return None
    return allowed


#: what `stop` at an input says beside the words of the filter `strip`, in those words
STOPS: Final = {"bank": ("controller 0", "controller 32"), "all notes off": ("controller 123",)}


def _stops(found: Any) -> Any:
    """Kinds of message that an input never sends on."""
    if not isinstance(found, list) or not found or not all(isinstance(one, str) for one in found):
        raise ValueError('a list of kinds of message, such as ["program", "bank"]')
    for one in found:
        try:
            assert one in STOPS or known_kind(one)
        except ValueError as fault:
            also = " or ".join(f'"{word}"' for word in STOPS)
            raise ValueError(f'a list in which each entry is {fault}, or {also}; "{one}" is not') from None
    return tuple(found)


WholeSysEx = Annotated[str, AfterValidator(_whole_sysex)]
Stops = Annotated[tuple[str, ...], BeforeValidator(_stops)]
SetupLines = Annotated[tuple[Annotated[str, AfterValidator(_setup_line)], ...], BeforeValidator(_setup_lines)]
Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
Nanoseconds = Annotated[int, BeforeValidator(_milliseconds)]
Shift = Annotated[int, BeforeValidator(_shift)]
Tempo = Annotated[float, BeforeValidator(_tempo)]
NamesOrNone = Annotated[tuple[str, ...], BeforeValidator(_names_or_none)]
Inputs = Annotated[Names, Reference("inputs", many=True)]
Outputs = Annotated[Names, Reference("outputs", many=True)]
Scenes = Annotated[tuple[int | str, ...], BeforeValidator(_order), Reference("scenes", many=True)]
Songs = Annotated[tuple[str, ...], BeforeValidator(_songs), Reference("songs", many=True)]
_Message = Annotated[bytes, PlainSerializer(lambda message: message.hex(" ").upper(), return_type=str)]
Messages = Annotated[tuple[_Message, ...], BeforeValidator(_messages)]


def one_or_range(low: int, high: int) -> BeforeValidator:
    """A whole number, or [first, last] as a tuple; "any" stays."""

    def check(found: Any) -> Any:
        ends = found if isinstance(found, list) else [found]
        if found == "any":
            return found
        if len(ends) != len([end for end in ends if type(end) is int and low <= end <= high]) or len(ends) not in (
            1,
            2,
        ):
            raise ValueError(f'{low} to {high}, a range [first, last], or "any"')
        if ends[0] > ends[-1]:
            raise ValueError("[first, last] with the smaller number first")
        return (ends[0], ends[-1])

    return BeforeValidator(check)


Numbers = tuple[int, int] | Literal["any"] | None


class Part(BaseModel):
    """A table of the rig file; unknown keys are rejected."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
