"""Keys of keyboards: their names, codes and messages."""

import pytest
from evdev import ecodes
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.key_messages import KEY_CODES, LAST_CODE, key_code, key_message, key_name, read_key
from engine.midi.kinds import is_whole
from engine.midi.message_words import describe

#: W3C UI Events KeyboardEvent code values (without "Key" and "Digit"), and Linux's names of the same keys
LINUX = {
    "Escape": "ESC",
    "BracketLeft": "LEFTBRACE",
    "BracketRight": "RIGHTBRACE",
    "ControlLeft": "LEFTCTRL",
    "ControlRight": "RIGHTCTRL",
    "Quote": "APOSTROPHE",
    "Backquote": "GRAVE",
    "ShiftLeft": "LEFTSHIFT",
    "ShiftRight": "RIGHTSHIFT",
    "AltLeft": "LEFTALT",
    "AltRight": "RIGHTALT",
    "Period": "DOT",
    "NumpadMultiply": "KPASTERISK",
    "NumpadSubtract": "KPMINUS",
    "NumpadAdd": "KPPLUS",
    "NumpadDecimal": "KPDOT",
    "NumpadEnter": "KPENTER",
    "NumpadDivide": "KPSLASH",
    "NumpadEqual": "KPEQUAL",
    "IntlBackslash": "102ND",
    "PrintScreen": "SYSRQ",
    "ArrowUp": "UP",
    "ArrowDown": "DOWN",
    "ArrowLeft": "LEFT",
    "ArrowRight": "RIGHT",
    "AudioVolumeMute": "MUTE",
    "AudioVolumeDown": "VOLUMEDOWN",
    "AudioVolumeUp": "VOLUMEUP",
    "MetaLeft": "LEFTMETA",
    "MetaRight": "RIGHTMETA",
    "ContextMenu": "COMPOSE",
    "MediaTrackNext": "NEXTSONG",
    "MediaTrackPrevious": "PREVIOUSSONG",
    "MediaPlayPause": "PLAYPAUSE",
    "MediaStop": "STOPCD",
} | {f"Numpad{digit}": f"KP{digit}" for digit in range(10)}


@pytest.mark.parametrize("name", KEY_CODES)
def test_a_name_has_linux_s_code(name: str) -> None:
    """Each name has the code that Linux has for that key (input-event-codes.h, as evdev was built with it)."""
    assert KEY_CODES[name] == ecodes.ecodes[f"KEY_{LINUX.get(name, name.upper())}"]
    assert key_name(KEY_CODES[name]) == name
    assert key_code(name) == KEY_CODES[name]


@given(st.integers(0, LAST_CODE), st.booleans())
def test_a_key_is_one_message(code: int, down: bool) -> None:
    """The message of a key is one whole SysEx, reads back, and is described by the key's name."""
    message = key_message(code, down)
    assert is_whole(message)
    assert read_key(message) == (code, down)
    assert key_code(key_name(code)) == code
    assert describe(message) == f"key {key_name(code)} {'down' if down else 'up'}"


@given(st.binary(max_size=12))
def test_other_messages_are_no_keys(data: bytes) -> None:
    """Other bytes are not read as a key."""
    assert read_key(b"\xf0\x7d" + data + b"\xf7") is None or data.startswith(b"\x62\x6c\x02")
