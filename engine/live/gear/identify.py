"""Who is on the cables: one output is asked after the other, and every input is listened to."""

from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final

import trio

from engine.instruments.device_inquiry import asks, read_reply, request
from engine.live.show import Show

_ROUND: Final = 0.01  # seconds
_NS: Final = 1_000_000_000
_CROSSED: Final = "crossed cables"


async def identify(
    show: Show,
    outputs: Sequence[int],
    seconds: float,
    note: Callable[[str, bytes], None],
    report: Callable[[dict[str, Any]], Awaitable[None]],
    stop: trio.Event,
) -> list[dict[str, Any]]:
    """One row for each answer, and one for each output where none came.

    One question at a time, `seconds` for each: only so does an answer tell which output it belongs to. `note` is told
    each message that came, with its input.
    """
    rows: list[dict[str, Any]] = []
    for place, output in enumerate(outputs, 1):
        if stop.is_set():
            break
        found = await _ask(show, output, seconds, note, stop)
        if any(row["text"].startswith(_CROSSED) for row in found):  # or a late answer to the question before
            found = await _ask(show, output, seconds, note, stop)
        rows += found
        await report({"progress": {"outputs": place, "of": len(outputs)}, "rows": found})
    return rows


async def _ask(
    show: Show, output: int, seconds: float, note: Callable[[str, bytes], None], stop: trio.Event
) -> list[dict[str, Any]]:
    name = show.outputs[output]
    if not show.ports.out_meters[output].open:
        return [_row(name, None, None, f"{name} is missing: {show.ports.out_meters[output].last_error}")]
    events = show.watch()
    rows: list[dict[str, Any]] = []
    try:
        show.send(((output, request()),))
        until = show.clock() + round(seconds * _NS)
        while show.clock() < until and not stop.is_set():
            await trio.sleep(_ROUND)
            while events:
                event = events.popleft()
                if event.way != "in" or event.message is None:
                    continue
                note(event.port, event.message)
                said = read_reply(event.message)
                if said is not None:
                    rows.append(_row(name, event.port, said.plain(), _crossed(show, name, event.port)))
                elif asks(event.message):
                    rows.append(_row(name, event.port, None, f"what goes out at {name} comes back at {event.port}"))
    finally:
        show.unwatch(events)
    return rows or [_row(name, None, None, "no answer")]


def _row(output: str, source: str | None, identity: dict[str, Any] | None, text: str) -> dict[str, Any]:
    return {"output": output, "input": source, "identity": identity, "text": text}


def _crossed(show: Show, output: str, source: str) -> str:
    """An output and an input that share a name, or the port's pattern, are taken for one device's."""
    rig = show.engine.rig
    port = rig.outputs[output].port
    expected = {name for name, wanted in rig.inputs.items() if name == output or (port and wanted.port == port)}
    if not expected or source in expected:
        return "one device"
    return f"{_CROSSED}: asked at {output}, answered at {source} and not at {', '.join(sorted(expected))}"
