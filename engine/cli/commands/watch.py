"""`bayleaf watch`: shows messages as they come in and go out."""

import contextlib
import time
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Final

import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError, has_colour, in_json, print_line
from engine.cli.status_words import tempo_in_words, timecode_in_words
from engine.cli.sweep_folding import folded
from engine.cli.watched_kinds import CLOCK, COLOURS, KINDS, TIMECODE, chosen_kinds, kind_of_event
from engine.live.socket import client
from engine.midi.unit_words import UnitWords
from engine.rig.read.raw_data import no_such

Event = dict[str, Any]  # as the engine tells it

_WAYS: Final = {"in": "in", "out": "out", "told": "----"}


def watch(
    port: Annotated[
        list[str] | None, typer.Option("--port", help="Only this input or output of the rig; may be repeated.")
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(
            "--only", metavar="KINDS", help=f"Only these kinds, with commas between them: {', '.join(KINDS)}."
        ),
    ] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Show messages as they come in and go out (Ctrl-C to stop).

    Clock and time code are not shown message by message but as tempo and time, once per second and when they stop.
    The same message on many channels, such as a panic sends, is shown on one line, and so is a parameter (RPN or NRPN)
    or a controller with MSB and LSB.

    Example: bayleaf watch --port keys --only notes,programs
    """
    kinds = None if only is None else chosen_kinds(only)
    ports = _checked(port, name)
    with_time = ports is None if kinds is None else bool(kinds & {CLOCK, TIMECODE})
    colours = COLOURS if has_colour() and not json else {}
    shown: tuple[Any, ...] = ()
    units = UnitWords()
    with contextlib.suppress(KeyboardInterrupt):
        for batch in client.watch(name):
            units.middle_c = batch["middle_c"]
            events = [each for each in batch["events"] if _is_wanted(each, ports, kinds)]
            for event, line in _as_json(events) if json else _in_words(events, units):
                print_line(line, style=colours.get(kind_of_event(event)))
            before, shown = shown, _second(batch["sync"])
            if with_time and shown != before:
                line = in_json({"way": "time", **batch["sync"]}) if json else _time_in_words(batch["sync"])
                print_line(line, style=colours.get(CLOCK))


def _checked(ports: Sequence[str] | None, name: str) -> frozenset[str] | None:
    """The ports to be shown, or None for all. Raises CommandError for one that the rig does not have."""
    if not ports:
        return None
    status = client.ask(name, {"do": "status"})["status"]
    known = [port["name"] for way in ("inputs", "outputs") for port in status[way]]
    for port in ports:
        if port not in known:
            raise CommandError(no_such("port", port, known))
    return frozenset(ports)


def _is_wanted(event: Event, ports: frozenset[str] | None, kinds: frozenset[str] | None) -> bool:
    return (ports is None or event["port"] in ports) and (kinds is None or kind_of_event(event) in kinds)


def _as_json(events: Sequence[Event]) -> Iterator[tuple[Event, str]]:
    return ((event, in_json(event)) for event in events)


def _in_words(events: Sequence[Event], units: UnitWords) -> Iterator[tuple[Event, str]]:
    for event, words in folded([event for event in events if not _is_time(event)], units):
        ago = (time.monotonic_ns() - event["at"]) / 1e9
        clock = time.strftime("%H:%M:%S", time.localtime(time.time() - ago))
        yield event, f"{clock} {_WAYS[event['way']]:4} {event['port']:14} {words}"


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
