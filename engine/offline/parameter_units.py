"""What an output was sent, with each parameter that is set as one thing: its selection and its value together."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from engine.midi.controllers import DATA_LSB, DATA_MSB, RESET_ALL_CONTROLLERS
from engine.midi.kinds import CONTROLLER
from engine.midi.parameter_units import SELECTS, SETS, DataEntry

_CONCERNED: Final = SELECTS | SETS | {RESET_ALL_CONTROLLERS}


class SentMessage(NamedTuple):
    """A message of an output and when its first byte is on the cable (ns from the start).

    `words`: of messages that set a parameter together, what they set.
    """

    at: int
    message: bytes
    words: str = ""


@dataclass
class _Channel:
    """`selecting`: the places of what has selected since the last value; `msb`: the place of a value whose LSB may
    follow."""

    entry: DataEntry = field(default_factory=DataEntry)
    selecting: list[int] = field(default_factory=list)
    msb: int | None = None


def as_units(sent: Iterable[SentMessage]) -> list[SentMessage]:
    """The same with parameters as units, at the times of their values. What selects a parameter that is not set then
    stays as it is; what selects none (null) goes with the unit before it."""
    found: list[SentMessage | None] = []
    channels: defaultdict[int, _Channel] = defaultdict(_Channel)
    for each in sent:
        status, number = each.message[0], each.message[1] if len(each.message) == 3 else -1
        if status & 0xF0 != CONTROLLER or number not in _CONCERNED:
            found.append(each)
        else:
            _turn(channels[status & 0x0F], each, found)
    return [each for each in found if each is not None]


def _turn(channel: _Channel, sent: SentMessage, found: list[SentMessage | None]) -> None:
    """A controller that selects, sets or resets."""
    status, number, value = sent.message
    words, parameter = channel.entry.turn(number, value), channel.entry.selected
    found.append(sent)
    if number in SELECTS:
        channel.selecting.append(len(found) - 1)
        channel.msb = None
    if number in SELECTS and parameter is not None and parameter.is_null:
        _drop(found, channel.selecting)
    if words is None or parameter is None:
        return
    _drop(found, channel.selecting)
    if number == DATA_LSB and channel.msb is not None:
        found[channel.msb] = None
    channel.msb = len(found) - 1 if number == DATA_MSB else None
    pairs = [*parameter.selecting(), (number, value)]
    if number == DATA_LSB and channel.entry.msb is not None:
        pairs.insert(2, (DATA_MSB, channel.entry.msb))
    unit = b"".join(bytes((status, *pair)) for pair in pairs)
    found[-1] = SentMessage(sent.at, unit, f"channel {(status & 0x0F) + 1} {words}")


def _drop(found: list[SentMessage | None], places: list[int]) -> None:
    for place in places:
        found[place] = None
    places.clear()
