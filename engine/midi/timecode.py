"""Time code: the labels of frames, and the MIDI messages that carry them (RP-004/RP-008, version 4.2.1).

A label is written 01:02:03:04, with a semicolon before the frames where drop-frame counting leaves labels out: at
29.97 frames per second the labels 00 and 01 of each minute do not exist, except in every tenth minute.
"""

import re
from dataclasses import dataclass
from functools import total_ordering
from typing import Final

_LABEL: Final = re.compile(r"(\d{1,2}):(\d{1,2}):(\d{1,2})([:;])(\d{1,2})")
_MINUTE: Final = 60
_HOUR: Final = 3600
_DAY_HOURS: Final = 24
_DROPPED: Final = 2  # labels per minute
_TEN_MINUTES_DROP: Final = 17_982  # frames
_MINUTE_DROP: Final = 1_798


@dataclass(frozen=True)
class Rate:
    """One of the four rates: labels per second, the length of a frame in seconds as a fraction, and its code."""

    name: str
    frames: int  # labels per second
    numerator: int  # a frame lasts numerator / denominator seconds
    denominator: int
    code: int  # RP-004 p. 2
    drop: bool = False

    @property
    def day(self) -> int:
        """Frames in 24 hours of labels."""
        minutes = _DAY_HOURS * _MINUTE
        left_out = _DROPPED * (minutes - minutes // 10) if self.drop else 0
        return minutes * _MINUTE * self.frames - left_out

    def nanoseconds(self, quarters: int) -> int:
        """How long this many quarter frames last, rounded up to a nanosecond; exact over any length."""
        return -(-quarters * self.numerator * 1_000_000_000 // (4 * self.denominator))

    def quarters(self, nanoseconds: int) -> int:
        """How many quarter frames have begun in this time."""
        return nanoseconds * 4 * self.denominator // (self.numerator * 1_000_000_000)


RATES: Final = {
    rate.name: rate
    for rate in (
        Rate("24", 24, 1, 24, 0),
        Rate("25", 25, 1, 25, 1),
        Rate("29.97 drop", 30, 1001, 30000, 2, drop=True),
        Rate("30", 30, 1, 30, 3),
    )
}
_BY_CODE: Final = {rate.code: rate for rate in RATES.values()}


@total_ordering
@dataclass(frozen=True)
class Label:
    """A frame of a day, counted from 0 at 00:00:00:00."""

    rate: Rate
    frame: int

    def __str__(self) -> str:
        hours, minutes, seconds, frames = self.parts
        return f"{hours:02}:{minutes:02}:{seconds:02}{';' if self.rate.drop else ':'}{frames:02}"

    def __lt__(self, other: "Label") -> bool:
        return self.frame < other.frame

    @property
    def parts(self) -> tuple[int, int, int, int]:
        """Hours, minutes, seconds, frames."""
        number = self.frame
        if self.rate.drop:
            tens, rest = divmod(number, _TEN_MINUTES_DROP)
            # the first minute of ten has all its labels
            minutes = max(0, rest - _DROPPED) // _MINUTE_DROP
            number += _DROPPED * (9 * tens + minutes)
        seconds, frames = divmod(number, self.rate.frames)
        return seconds // _HOUR, seconds // _MINUTE % 60, seconds % 60, frames

    def plus(self, frames: int) -> "Label":
        """The label this many frames later, past midnight if need be."""
        return Label(self.rate, (self.frame + frames) % self.rate.day)

    def after(self, earlier: "Label") -> int:
        """Frames from an earlier label to this one, the short way round the day; negative if that one is later."""
        day = self.rate.day
        return (self.frame - earlier.frame + day // 2) % day - day // 2


def label_of(rate: Rate, hours: int, minutes: int, seconds: int, frames: int) -> Label:
    """The label of these parts. One that drop-frame counting leaves out becomes the next that exists (RP-002 3.2.1).

    Raises ValueError, which says what is allowed, for parts that no label has.
    """
    if hours >= _DAY_HOURS or minutes >= 60 or seconds >= 60 or frames >= rate.frames:
        raise ValueError(f"hours to 23, minutes and seconds to 59, frames to {rate.frames - 1}")
    minute = hours * 60 + minutes
    number = (minute * 60 + seconds) * rate.frames + frames
    if rate.drop:
        if minutes % 10 and seconds == 0 and frames < _DROPPED:
            number += _DROPPED - frames
        number -= _DROPPED * (minute - minute // 10)
    return Label(rate, number)


def read_label(text: str, rate: Rate) -> Label:
    """The label written "01:02:03:04" or "01:02:03;04". Raises ValueError, which says what is allowed."""
    match = _LABEL.fullmatch(text.strip())
    if match is None:
        raise ValueError('a time code such as "01:02:03:04"')
    return label_of(rate, int(match[1]), int(match[2]), int(match[3]), int(match[5]))


def cue_place(text: str, rate: Rate) -> Label:
    """The label of a cue at the rate in use; a frame number that this rate does not have becomes its last one."""
    hours, minutes, seconds, frames = (int(part) for part in re.split("[:;]", text.strip()))
    return label_of(rate, hours, minutes, seconds, min(frames, rate.frames - 1))


# Messages


def quarter_frames(label: Label) -> tuple[bytes, ...]:
    """The eight quarter frame messages that spell a label, in forward order (RP-004 p. 1-4)."""
    hours, minutes, seconds, frames = label.parts
    hours |= label.rate.code << 5
    nibbles = [nibble for value in (frames, seconds, minutes, hours) for nibble in (value & 0x0F, value >> 4)]
    return tuple(bytes((0xF1, piece << 4 | nibble)) for piece, nibble in enumerate(nibbles))


def full_frame(label: Label, device: int = 0x7F) -> bytes:
    """The full message of a label, for locating (RP-004 p. 5)."""
    hours, minutes, seconds, frames = label.parts
    return bytes((0xF0, 0x7F, device, 0x01, 0x01, label.rate.code << 5 | hours, minutes, seconds, frames, 0xF7))


def from_nibbles(nibbles: list[int]) -> Label | None:
    """The label that eight quarter frames spell; None if it does not exist. Reserved bits are ignored (RP-004 p. 2)."""
    frames, seconds, minutes, hours = (nibbles[place] | nibbles[place + 1] << 4 for place in range(0, 8, 2))
    return _checked(hours >> 5 & 3, hours & 0x1F, minutes & 0x3F, seconds & 0x3F, frames & 0x1F)


def from_full_frame(message: bytes) -> Label | None:
    """The label of a full message, for any device; None if this is not one."""
    if len(message) != 10 or message[:2] != b"\xf0\x7f" or message[3:5] != b"\x01\x01":
        return None
    hours, minutes, seconds, frames = message[5:9]
    return _checked(hours >> 5 & 3, hours & 0x1F, minutes, seconds, frames)


def is_dropout(message: bytes) -> bool:
    """Whether this is the NAK of a sender whose own source has dropped out, which counts as stopped (p. 4)."""
    return len(message) == 6 and message[:2] == b"\xf0\x7e" and message[3:4] == b"\x7e"


def belongs(message: bytes) -> bool:
    """Whether a message is part of time code: quarter frames, full messages, user bits, a dropout."""
    return message[0] == 0xF1 or (message[:2] == b"\xf0\x7f" and message[3:4] == b"\x01") or is_dropout(message)


def _checked(code: int, hours: int, minutes: int, seconds: int, frames: int) -> Label | None:
    try:
        return label_of(_BY_CODE[code], hours, minutes, seconds, frames)
    except ValueError:
        return None
