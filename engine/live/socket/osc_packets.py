"""Reads and writes Open Sound Control packets: the messages of a datagram with their times. No I/O.

Sources: OSC 1.0 specification (messages, bundles, time tags); RFC 5905, 6 (a time tag has the NTP timestamp's format).
python-osc decodes and encodes the messages.
"""

import re
import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from pythonosc.osc_message import OscMessage, ParseError
from pythonosc.osc_message_builder import OscMessageBuilder

Value = bool | int | float | str

LARGEST: Final = 4096  # bytes of a datagram; a longer one is ignored
MOST: Final = 64  # messages in a datagram; one with more is ignored
IMMEDIATELY: Final = 1  # the time tag that means at once; some clients send 0 for it (common practice, no source)

_ROOT: Final = "/bayleaf/"
_DEEPEST: Final = 4  # bundles in bundles
_BUNDLE: Final = b"#bundle\x00"
_BUNDLE_HEAD: Final = len(_BUNDLE) + 8  # with its time tag
_TAG: Final = struct.Struct(">Q")
_SIZE: Final = struct.Struct(">i")
# numbers of 32 bits, strings, true and false only: python-osc drops values of types that it does not know
_FORM: Final = re.compile(rb"/bayleaf/(?:[^\x00-\x20#*,/?\[\]{}\x7f-\xff]+/)?[a-z_]+\x00+,[ifsTF]*\x00")
_SINCE_1900: Final = 2_208_988_800  # seconds from the era of time tags to that of Unix
_SECOND: Final = 1 << 32  # of a time tag


class OscAsked(NamedTuple):
    """One message: its time tag, what comes after `/bayleaf/`, which may begin with a player, and its values."""

    tag: int
    do: str
    values: tuple[Value, ...]


def read_packet(data: bytes) -> list[OscAsked]:
    """The messages of a datagram, in order; ValueError if it has any fault or is not all for us."""
    elements = list(_elements(data, IMMEDIATELY))
    if len(elements) > MOST:
        raise ValueError("too many messages")
    return [OscAsked(tag, *_read(element)) for tag, element in elements]


def seconds_until(tag: int, wall: float) -> float:
    """How long it is until a time tag, negative if it is past; `wall`: the time now, in seconds since 1970.

    A time tag counts 136 years, so the nearest time that it can mean is meant.
    """
    if tag <= IMMEDIATELY:
        return 0.0
    ahead = tag - round((wall + _SINCE_1900) * _SECOND)
    return ((ahead + (1 << 63)) % (1 << 64) - (1 << 63)) / _SECOND


def osc_message(what: str, *values: Value) -> bytes:
    """A message `/bayleaf/WHAT` with these values."""
    builder = OscMessageBuilder(address=_ROOT + what)
    for value in values:
        builder.add_arg(value)
    return bytes(builder.build().dgram)


def _elements(data: bytes, tag: int, depth: int = 0) -> Iterator[tuple[int, bytes]]:
    """The messages of a datagram or bundle with their time tags; ValueError if its sizes do not add up.

    A bundle in a bundle is never earlier than that. Not left to python-osc, which never returns from a bundle whose
    element has a negative size.
    """
    if len(data) > LARGEST or depth > _DEEPEST:
        raise ValueError("too long or too deep")
    if not data.startswith(_BUNDLE):
        yield tag, data
        return
    if len(data) < _BUNDLE_HEAD:
        raise ValueError("a bundle without its time tag")
    tag = max(tag, *_TAG.unpack(data[len(_BUNDLE) : _BUNDLE_HEAD]))
    place = _BUNDLE_HEAD
    while place < len(data):
        size = _SIZE.unpack(data[place : place + 4])[0] if place + 4 <= len(data) else 0
        place += 4
        if size <= 0 or size % 4 or place + size > len(data):
            raise ValueError("an element of another size")
        yield from _elements(data[place : place + size], tag, depth + 1)
        place += size


def _read(element: bytes) -> tuple[str, tuple[Value, ...]]:
    """Command and values of a message; ValueError if it is not ours, or not as OSC 1.0 writes it."""
    if not _FORM.match(element):
        raise ValueError("no message for us")
    try:
        message = OscMessage(element)
    except ParseError:
        raise ValueError("no message") from None
    do, values = message.address.removeprefix(_ROOT), tuple(message.params)
    plain = all(value.isprintable() for value in values if isinstance(value, str))
    # python-osc overlooks bytes after the values, and padding other than zeros
    if not plain or osc_message(do, *values) != element:
        raise ValueError("more or other than the values")
    return do, values
