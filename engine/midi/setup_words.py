"""Set-up messages in words: "local off", "GM on", "master volume 100", "pitch bend range 2", "controller 7 = 100".

Sources: MIDI 1.0 Detailed Specification 4.2.1 p. 17, 18 (parameters), Table IV (local control), p. 52 (GM);
RP-003 p. 4; MIDI Association Table 3a (the null parameter, sent after each).
"""

import re
from collections.abc import Callable
from typing import Final, NamedTuple

from engine.midi.controllers import DATA_LSB, DATA_MSB, LOCAL_CONTROL, RESTS, RPN_LSB, RPN_MSB
from engine.midi.kinds import CONTROLLER, Message, is_whole

_GM_SETTLE: Final = 200_000_000  # ns; common practice, no source: modules ignore what arrives while they reset

ALLOWED: Final = (
    '"local on", "local off", "GM on", "GM off", "GM2 on", "master volume 0" to "127", "pitch bend range 0" to "96", '
    '"fine tuning -100" to "99" (cents), "coarse tuning -64" to "63" (semitones), "controller 7 = 100", '
    'or one whole message in hexadecimal such as "F0 7D 01 F7"'
)


class SetupMessages(NamedTuple):
    """The messages of one line, and the pause that they need after them (ns)."""

    messages: tuple[Message, ...]
    settle: int = 0


def set_up(words: str, channel: int) -> SetupMessages:
    """What a line of words means on a channel of 0 to 15. Raises ValueError, which says what is allowed."""
    plain = " ".join(words.lower().split())
    if plain in _SYSTEM:
        return SetupMessages((_SYSTEM[plain],), _GM_SETTLE)
    for pattern, low, high, make in _NUMBERED:
        match = re.fullmatch(pattern + r" ([+-]?[0-9]{1,4})", plain)
        if match and low <= int(match[1]) <= high:
            return SetupMessages(make(channel, int(match[1])))
    if plain in ("local on", "local off"):
        return SetupMessages((_controller(channel, LOCAL_CONTROL, 127 if plain == "local on" else 0),))
    match = re.fullmatch(r"controller ([0-9]{1,3}) ?= ?([0-9]{1,3})", plain)
    if match and int(match[1]) < 128 and int(match[2]) < 128:
        return SetupMessages((_controller(channel, int(match[1]), int(match[2])),))
    try:
        message = bytes.fromhex(words)
    except ValueError:
        message = b""
    if not is_whole(message):
        raise ValueError(ALLOWED)
    return SetupMessages((message,))


def _controller(channel: int, number: int, value: int) -> Message:
    return bytes((CONTROLLER | channel, number, value))


def _registered(channel: int, parameter: int, msb: int, lsb: int) -> tuple[Message, ...]:
    """Select the parameter, set it, and select none."""
    pairs = (
        (RPN_MSB, 0),
        (RPN_LSB, parameter),
        (DATA_MSB, msb),
        (DATA_LSB, lsb),
        (RPN_MSB, RESTS[RPN_MSB]),
        (RPN_LSB, RESTS[RPN_LSB]),
    )
    return tuple(_controller(channel, number, value) for number, value in pairs)


def _fine(channel: int, cents: int) -> tuple[Message, ...]:
    value = min(16383, 8192 + round(cents * 8192 / 100))
    return _registered(channel, 1, value >> 7, value & 0x7F)


def _master_volume(channel: int, value: int) -> tuple[Message, ...]:
    return (bytes((0xF0, 0x7F, 0x7F, 0x04, 0x01, 127 if value == 127 else 0, value, 0xF7)),)


_SYSTEM: Final = {
    "gm on": bytes.fromhex("F0 7E 7F 09 01 F7"),
    "gm off": bytes.fromhex("F0 7E 7F 09 02 F7"),
    "gm2 on": bytes.fromhex("F0 7E 7F 09 03 F7"),
}

#: words, lowest and highest number, and a function that makes the messages
_NUMBERED: Final[tuple[tuple[str, int, int, Callable[[int, int], tuple[Message, ...]]], ...]] = (
    ("master volume", 0, 127, _master_volume),
    ("pitch bend range", 0, 96, lambda channel, semitones: _registered(channel, 0, semitones, 0)),
    ("fine tuning", -100, 99, _fine),
    ("coarse tuning", -64, 63, lambda channel, semitones: _registered(channel, 2, 64 + semitones, 0)),
)
