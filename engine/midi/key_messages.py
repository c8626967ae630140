"""The keys of computer keyboards and page-turn pedals: their names, and the messages that they are inside Bayleaf.

A key that goes down or up is a SysEx under the non-commercial id, `F0 7D 62 6C 02 code code state F7` (the code's lower
seven bits first; state 1 is down), so that it takes the same way as any message of an input. It never leaves.

Sources: names as W3C UI Events KeyboardEvent code values, with letters and digits alone as they are; codes of Linux,
input-event-codes.h.
"""

from typing import Final, NamedTuple

_HEAD: Final = bytes.fromhex("F0 7D 62 6C 02")
_LENGTH: Final = len(_HEAD) + 4

#: codes of keyboards; above are the buttons of mice and other devices
LAST_CODE: Final = 0xFF

_ROWS: Final = (
    (1, "Escape 1 2 3 4 5 6 7 8 9 0 Minus Equal Backspace Tab"),
    (16, "Q W E R T Y U I O P BracketLeft BracketRight Enter ControlLeft"),
    (30, "A S D F G H J K L Semicolon Quote Backquote ShiftLeft Backslash"),
    (44, "Z X C V B N M Comma Period Slash ShiftRight NumpadMultiply AltLeft Space CapsLock"),
    (59, "F1 F2 F3 F4 F5 F6 F7 F8 F9 F10 NumLock ScrollLock"),
    (71, "Numpad7 Numpad8 Numpad9 NumpadSubtract Numpad4 Numpad5 Numpad6 NumpadAdd"),
    (79, "Numpad1 Numpad2 Numpad3 Numpad0 NumpadDecimal"),
    (86, "IntlBackslash F11 F12"),
    (96, "NumpadEnter ControlRight NumpadDivide PrintScreen AltRight"),
    (102, "Home ArrowUp PageUp ArrowLeft ArrowRight End ArrowDown PageDown Insert Delete"),
    (113, "AudioVolumeMute AudioVolumeDown AudioVolumeUp"),
    (117, "NumpadEqual"),
    (119, "Pause"),
    (125, "MetaLeft MetaRight ContextMenu"),
    (163, "MediaTrackNext MediaPlayPause MediaTrackPrevious MediaStop"),
    (183, "F13 F14 F15 F16 F17 F18 F19 F20 F21 F22 F23 F24"),
)
#: by name
KEY_CODES: Final = {name: first + place for first, row in _ROWS for place, name in enumerate(row.split())}
_NAMES: Final = {code: name for name, code in KEY_CODES.items()}


class KeyChange(NamedTuple):
    """A key that went down or up."""

    code: int
    down: bool


def key_message(code: int, down: bool) -> bytes:
    """The message of a key; `code` 0 to LAST_CODE."""
    return _HEAD + bytes((code & 0x7F, code >> 7, down, 0xF7))


def read_key(message: bytes) -> KeyChange | None:
    """What the message of a key says; None if it is another one."""
    if len(message) != _LENGTH or not message.startswith(_HEAD):
        return None
    return KeyChange(message[-4] | message[-3] << 7, bool(message[-2]))


def key_code(name: str | int) -> int:
    """The code of a key that the rig file calls so."""
    return KEY_CODES[name] if isinstance(name, str) else name


def key_name(code: int) -> str | int:
    """A key as the rig file calls it: by its name, or by its code if it has none."""
    return _NAMES.get(code, code)
