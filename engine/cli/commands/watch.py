"""`bayleaf watch`: shows messages as they come in and go out."""

import contextlib
import time
from collections.abc import Iterator
from typing import Any, Final

from engine.cli.options import Json, Name
from engine.cli.output import in_json, print_line
from engine.cli.status_words import tempo_in_words, timecode_in_words
from engine.cli.sweep_folding import folded
from engine.live.socket import client
from engine.midi.unit_words import UnitWords

_WAYS: Final = {"in": "in", "out": "out", "told": "----"}


def watch(name: Name = "bayleaf", json: Json = False) -> None:
    """Show messages as they come in and go out (Ctrl-C to stop).

    Clock and time code are not shown message by message but as tempo and time, once per second and when they stop.
    The same message on many channels, such as a panic sends, is shown on one line, and so is a parameter (RPN or NRPN).
    """
    shown: tuple[Any, ...] = ()
    units = UnitWords()
    with contextlib.suppress(KeyboardInterrupt):
        for batch in client.watch(name):
            for line in _as_json(batch) if json else _in_words(batch, units):
                print_line(line)
            before, shown = shown, _second(batch["sync"])
            if shown != before:
                print_line(in_json({"way": "time", **batch["sync"]}) if json else _time_in_words(batch["sync"]))


def _as_json(batch: dict[str, Any]) -> Iterator[str]:
    return map(in_json, batch["events"])


def _in_words(batch: dict[str, Any], units: UnitWords) -> Iterator[str]:
    for event, words in folded([event for event in batch["events"] if not _is_time(event)], units):
        ago = (time.monotonic_ns() - event["at"]) / 1e9
        clock = time.strftime("%H:%M:%S", time.localtime(time.time() - ago))
        yield f"{clock} {_WAYS[event['way']]:4} {event['port']:14} {words}"


def _is_time(event: dict[str, Any]) -> bool:
    """Whether this is a clock or a quarter frame."""
    return bool(event["message"]) and event["message"][:2] in ("F8", "F1")


def _second(sync: dict[str, Any]) -> tuple[Any, ...]:
    """What deserves a new line when it changes: the second, running or stopped, the source, the tempo."""
    code = sync["timecode"]
    return code and code[:8], sync["timecode_runs"], sync["clock_from"], round(sync["tempo"] or 0)


def _time_in_words(sync: dict[str, Any]) -> str:
    parts = []
    if sync["timecode"]:
        parts.append(timecode_in_words(sync))
    if sync["tempo"]:
        parts.append(tempo_in_words(sync))
    return f"{time.strftime('%H:%M:%S')} time {'':14} {'; '.join(parts) or 'no clock, no time code'}"
