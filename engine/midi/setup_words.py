"""Messages in words, for set-up, sounds and scenes: "local off", "volume 90", "nrpn 1/8 = 64", "start".

Sources: MIDI 1.0 Detailed Specification 4.2.1 p. 17, 18 (parameters), Table III (controllers), Table IV (local
control), p. 52 (GM); RP-003 p. 4; RP-002 (show control); MIDI Association Table 3a (the null parameter, sent after
each).
"""

import re
from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import Final, NamedTuple

from engine.midi.controllers import (
    CHORUS_SEND,
    DATA_LSB,
    DATA_MSB,
    EXPRESSION,
    LOCAL_CONTROL,
    LSB_OF,
    MODE_MESSAGES,
    NRPN_LSB,
    NRPN_MSB,
    PAN,
    RESTS,
    REVERB_SEND,
    RPN_LSB,
    RPN_MSB,
    VOLUME,
)
from engine.midi.effect_messages import (
    CHORUSES,
    REVERBS,
    chorus_depth,
    chorus_feedback,
    chorus_rate,
    chorus_to_reverb,
    chorus_type,
    reverb_time,
    reverb_type,
)
from engine.midi.kinds import CONTROLLER, PROGRAM, SYSEX, Message, is_whole
from engine.midi.show_control import ALL_CALL, go
from engine.midi.tuning_messages import concert_pitch, master_coarse_tuning, master_fine_tuning, scale_tuning

_GM_SETTLE: Final = 200_000_000  # ns; common practice, no source: modules ignore what arrives while they reset

_ALIKE: Final = 0.7  # of 1: how like each other words are of which one may be meant for the other

Messages = tuple[Message, ...]


class Receiver(NamedTuple):
    """Who gets the messages: a channel of 0 to 15, None if it is not known; whether programs count from 0 or 1; the
    device id of show control; the other channels of the same instrument."""

    channel: int | None = 0
    programs_from: int = 1
    device: int = ALL_CALL
    others: tuple[int, ...] = ()


class SetupMessages(NamedTuple):
    """The messages of one line, and the pause that they need after them (ns)."""

    messages: Messages
    settle: int = 0


def set_up(words: str, to: Receiver) -> SetupMessages:
    """What a line of words means to a receiver. Raises ValueError, which says what is allowed."""
    plain = " ".join(words.lower().split())
    if plain in _SYSTEM_WORDS:
        message = _SYSTEM_WORDS[plain]
        return SetupMessages((message,), _GM_SETTLE if message[0] == SYSEX else 0)
    for each in _WORDS:
        match = re.fullmatch(each.begin + each.rest, plain)
        found = each.make(to, *match.groups()) if match else ()
        if found and to.channel is None and found[0][0] < SYSEX:
            raise ValueError("words that need no channel, or one whole message in hexadecimal")
        if found:
            return SetupMessages(found)
    try:
        message = bytes.fromhex(words)
    except ValueError:
        message = b""
    if not is_whole(message):
        raise ValueError(next((each.allowed for each in _WORDS if re.match(rf"{each.begin}\b", plain)), ALLOWED))
    return SetupMessages((message,))


def nearest_words(line: str) -> str | None:
    """An example of what a misspelt line may mean; None if it is like no words, or spelt as they are."""
    examples = {_letters(each): each for each in re.findall(r'"([a-zA-Z][^"]*)"', ALLOWED)}
    close = get_close_matches(_letters(line), examples, 1, _ALIKE)
    return examples[close[0]] if close and close[0] != _letters(line) else None


def _letters(line: str) -> str:
    return " ".join(re.sub("[^a-z ]", " ", line.lower()).split())


def is_value(message: Message) -> bool:
    """Whether this sets something that stays so: a controller (parameters and banks too) or a program.

    So do tuning, reverb and chorus, though they are SysEx. All others are events: notes, bends and pressure, modes,
    start and stop, song select, other SysEx.
    """
    if message[0] == SYSEX:
        return message[1:2] + message[3:5] in _LASTING
    kind = message[0] & 0xF0
    return kind == PROGRAM or (kind == CONTROLLER and message[1] not in MODE_MESSAGES)


# What makes the messages. Each answers none if a number is out of its range.


def _controller(to: Receiver, number: int, value: int) -> Message:
    return bytes((CONTROLLER | (to.channel or 0), number, value))


def _parameter(to: Receiver, *pairs: tuple[int, int]) -> Messages:
    """Select a parameter and set it by these controllers, then select none."""
    none = ((RPN_MSB, RESTS[RPN_MSB]), (RPN_LSB, RESTS[RPN_LSB]))
    return tuple(_controller(to, number, value) for number, value in (*pairs, *none))


def _registered(to: Receiver, parameter: int, msb: int, lsb: int) -> Messages:
    return _parameter(to, (RPN_MSB, 0), (RPN_LSB, parameter), (DATA_MSB, msb), (DATA_LSB, lsb))


def _within(low: int, high: int, make: Callable[[Receiver, int], Messages]) -> Callable[..., Messages]:
    return lambda to, digits: make(to, int(digits)) if low <= int(digits) <= high else ()


def _fine(to: Receiver, cents: int) -> Messages:
    value = min(16383, 8192 + round(cents * 8192 / 100))
    return _registered(to, 1, value >> 7, value & 0x7F)


def _master_volume(to: Receiver, value: int) -> Messages:
    return (bytes((0xF0, 0x7F, 0x7F, 0x04, 0x01, 127 if value == 127 else 0, value, 0xF7)),)


def _master_coarse(to: Receiver, semitones: int) -> Messages:
    message = master_coarse_tuning(semitones)
    return () if message is None else (message,)


def _local(to: Receiver, how: str) -> Messages:
    return (_controller(to, LOCAL_CONTROL, 127 if how == "on" else 0),)


def _whole(make: Callable[[float], Message | None]) -> Callable[..., Messages]:
    """One message that is for no channel."""

    def made(to: Receiver, digits: str) -> Messages:
        message = make(float(digits))
        return () if message is None else (message,)

    return made


def _scale(to: Receiver, at_once: str | None, cents: str) -> Messages:
    """On all channels of an instrument, or of an output."""
    channels = range(16) if to.channel is None else (to.channel, *to.others)
    offsets = [0.0] * 12 if cents == "equal" else [float(each) for each in cents.split()]
    message = scale_tuning(channels, offsets, at_once is not None)
    return () if message is None else (message,)


def _program(to: Receiver, digits: str) -> Messages:
    program = int(digits) - to.programs_from
    return (bytes((PROGRAM | (to.channel or 0), program)),) if 0 <= program < 128 else ()


def _one_controller(to: Receiver, number: str, digits: str, long: str | None) -> Messages:
    msb, value = int(number), int(digits)
    if long is None:
        return (_controller(to, msb, value),) if msb < 128 and value < 128 else ()
    if msb not in LSB_OF or value > 16383:
        return ()
    return _controller(to, msb, value >> 7), _controller(to, LSB_OF[msb], value & 0x7F)


def _one_parameter(to: Receiver, kind: str, msb: str, lsb: str, digits: str, long: str | None) -> Messages:
    """A 7-bit value is the data MSB, for a registered parameter with the LSB 0."""
    first, second, value = int(msb), int(lsb), int(digits)
    if max(first, second) > 127 or value > (127 if long is None else 16383):
        return ()
    numbers = (RPN_MSB, RPN_LSB) if kind == "rpn" else (NRPN_MSB, NRPN_LSB)
    high, low = (value, 0) if long is None else (value >> 7, value & 0x7F)
    data = ((DATA_MSB, high), (DATA_LSB, low)) if kind == "rpn" or long is not None else ((DATA_MSB, high),)
    return _parameter(to, (numbers[0], first), (numbers[1], second), *data)


_SYSTEM: Final = {
    "GM on": bytes.fromhex("F0 7E 7F 09 01 F7"),
    "GM off": bytes.fromhex("F0 7E 7F 09 02 F7"),
    "GM2 on": bytes.fromhex("F0 7E 7F 09 03 F7"),
    "start": bytes((0xFA,)),
    "continue": bytes((0xFB,)),
    "stop": bytes((0xFC,)),
}
_SYSTEM_WORDS: Final = {words.lower(): message for words, message in _SYSTEM.items()}

#: universal ids with both sub-ids of scale/octave tuning, master tuning, and global parameters
_LASTING: Final = frozenset(map(bytes.fromhex, ("7E0808", "7E0809", "7F0808", "7F0809", "7F0403", "7F0404", "7F0405")))
_OFFSET: Final = r"(?: [+-]?[0-9]{1,3}(?:\.[0-9]{1,3})?)"
_DECIMAL: Final = r" ([+-]?[0-9]{1,4}(?:\.[0-9]{1,3})?)"

_NUMBER: Final = r" ([+-]?[0-9]{1,4})"
_VALUE: Final = r" ?= ?([0-9]{1,5})( ?/ ?14)?"


class _Words(NamedTuple):
    """A kind of words: patterns of how they begin and of the rest, a function that makes the messages of what is in
    brackets, and what is allowed."""

    begin: str
    rest: str
    make: Callable[..., Messages]
    allowed: str


def _numbered(begin: str, low: int, high: int, make: Callable[[Receiver, int], Messages], unit: str = "") -> _Words:
    """A whole number from low to high."""
    return _Words(begin, _NUMBER, _within(low, high, make), f'"{begin} {low}" to "{high}"{unit}')


def _measured(begin: str, low: str, high: str, unit: str, make: Callable[[float], Message | None]) -> _Words:
    """A number with its unit. `low`, `high`: what is allowed; `make` refuses all else."""
    return _Words(begin, f"{_DECIMAL} ?{unit.lower()}", _whole(make), f'"{begin} {low} {unit}" to "{high} {unit}"')


def _chosen(begin: str, names: Iterable[str], make: Callable[[str], Message]) -> _Words:
    """One of several names."""
    rest, listed = f" ({'|'.join(names)})", ", ".join(f'"{name}"' for name in names)
    return _Words(begin, rest, lambda to, name: (make(name),), f'"{begin}" with one of {listed}')


def _setting(begin: str, number: int) -> _Words:
    """A controller."""
    return _numbered(begin, 0, 127, lambda to, value: (_controller(to, number, value),))


def _tuning(begin: str, number: int) -> _Words:
    """A tuning program (RPN 3) or bank (RPN 4), which count from 1."""
    return _numbered(begin, 1, 128, lambda to, n: _parameter(to, (RPN_MSB, 0), (RPN_LSB, number), (DATA_MSB, n - 1)))


_WORDS: Final = (
    _Words("local", " (on|off)", _local, '"local on", "local off"'),
    _numbered("master volume", 0, 127, _master_volume),
    _numbered("pitch bend range", 0, 96, lambda to, semitones: _registered(to, 0, semitones, 0)),
    _numbered("fine tuning", -100, 99, _fine, " (cents)"),
    _numbered("coarse tuning", -64, 63, lambda to, each: _registered(to, 2, 64 + each, 0), " (semitones)"),
    _setting("volume", VOLUME),
    _setting("pan", PAN),
    _setting("expression", EXPRESSION),
    _Words("program", _NUMBER, _program, '"program 12" (counted as the instrument does, from 1 or 0)'),
    _Words(
        "controller",
        r" ([0-9]{1,3})" + _VALUE,
        _one_controller,
        '"controller 7 = 100", "controller 1 = 8192 / 14" (those of 0 to 31, then 0 to 16383)',
    ),
    _Words(
        "(nrpn|rpn)",
        r" ([0-9]{1,3})/([0-9]{1,3})" + _VALUE,
        _one_parameter,
        '"nrpn 1/8 = 64", "rpn 0/0 = 12" (also with / 14, then 0 to 16383)',
    ),
    _numbered("song", 1, 128, lambda to, song: (bytes((0xF3, song - 1)),)),
    _Words("go", r" ([0-9]{1,9}(?:\.[0-9]{1,9}){0,3})", lambda to, cue: (go(cue, to.device),), '"go 14.5"'),
    _Words(
        "scale tuning",
        rf"( at once)? (equal|[+-]?[0-9]{{1,3}}(?:\.[0-9]{{1,3}})?{_OFFSET}{{11}})",
        _scale,
        '"scale tuning" or "scale tuning at once" with twelve offsets from C to B, -100 to 100 cents, or "equal"',
    ),
    _tuning("tuning program", 3),
    _tuning("tuning bank", 4),
    _measured("master tuning", "415.31", "466.16", "Hz", concert_pitch),
    _Words("master fine tuning", _DECIMAL, _whole(master_fine_tuning), '"master fine tuning -100" to "100" (cents)'),
    _numbered("master coarse tuning", -64, 63, _master_coarse, " (semitones)"),
    _setting("reverb send", REVERB_SEND),
    _setting("chorus send", CHORUS_SEND),
    _chosen("reverb type", REVERBS, reverb_type),
    _measured("reverb time", "0.4", "8.8", "s", reverb_time),
    _chosen("chorus type", CHORUSES, chorus_type),
    _measured("chorus rate", "0", "15.5", "Hz", chorus_rate),
    _measured("chorus depth", "0.3", "40", "ms", chorus_depth),
    _measured("chorus feedback", "0", "96", "%", chorus_feedback),
    _measured("chorus to reverb", "0", "100", "%", chorus_to_reverb),
)

ALLOWED: Final = ", ".join(
    (
        *(f'"{words}"' for words in _SYSTEM),
        *(each.allowed for each in _WORDS),
        'or one whole message in hexadecimal such as "F0 7D 01 F7"',
    )
)
