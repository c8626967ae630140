"""What passes, line by line: a sweep over the channels, as a panic's, is one line, and so is a parameter."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final, NamedTuple

from engine.midi.kinds import SYSEX
from engine.midi.message_words import describe
from engine.midi.unit_words import UnitWords

Event = dict[str, Any]  # as the engine tells it

_LAYERS: Final = 4  # channels that may well play the same


class _Run(NamedTuple):
    """Messages to one output, one after the other, that differ in their channel alone."""

    alike: bytes
    places: list[int]  # among the events
    channels: list[int]  # 0 to 15; none for what has no channel

    def over(self) -> tuple[int, ...]:
        """The channels, if they are many enough for a sweep."""
        return tuple(sorted(self.channels)) if len(self.channels) > _LAYERS else ()


def folded(events: Sequence[Event], units: UnitWords) -> list[tuple[Event, str]]:
    """Each event with its line; of a sweep over many channels the first event alone, with one line for all of it.

    Of a parameter the last event alone; `units` knows what the ports have selected before.
    """
    lines = _lines(events, units)
    for output in {event["port"] for event in events if event["way"] == "out"}:
        for channels, sweep in groupby(_runs(events, output), _Run.over):
            if not channels:
                continue
            runs = list(sweep)
            first, *others = (place for run in runs for place in run.places)
            kinds = ", ".join(describe(run.alike, units.middle_c).removeprefix("channel 1 ") for run in runs)
            lines[first] = f"{len(others) + 1} messages on {_in_words(channels)}: {kinds}"
            for place in others:
                lines.pop(place, None)
    return [(events[place], lines[place]) for place in sorted(lines)]


def _runs(events: Sequence[Event], output: str) -> list[_Run]:
    runs: list[_Run] = []
    for place, event in enumerate(events):
        if event["way"] != "out" or event["port"] != output:
            continue
        message = bytes.fromhex(event["message"])
        if message[0] >= SYSEX:
            runs.append(_Run(message, [place], []))
            continue
        alike, channel = bytes((message[0] & 0xF0,)) + message[1:], message[0] & 0x0F
        if not runs or runs[-1].alike != alike or channel in runs[-1].channels:
            runs.append(_Run(alike, [], []))
        runs[-1].places.append(place)
        runs[-1].channels.append(channel)
    return runs


def _lines(events: Sequence[Event], units: UnitWords) -> dict[int, str]:
    """By place among the events."""
    passing = [(place, event) for place, event in enumerate(events) if event["message"]]
    said = units.lines(((event["way"], event["port"]), bytes.fromhex(event["message"])) for _, event in passing)
    lines = {place: str(event["text"]) for place, event in enumerate(events) if not event["message"]}
    named = (
        f"{words} ({event['drum']})" if "drum" in event else words
        for (_, event), words in zip(passing, said, strict=True)
    )
    return lines | {place: words for (place, _), words in zip(passing, named, strict=True) if words is not None}


def _in_words(channels: Sequence[int]) -> str:
    first, last = channels[0] + 1, channels[-1] + 1
    if last - first == len(channels) - 1:
        return f"channels {first} to {last}"
    return f"channels {', '.join(str(channel + 1) for channel in channels)}"
