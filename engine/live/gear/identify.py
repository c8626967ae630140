"""Finds the devices on the cables: asks at one output after the other, and listens at every input."""

from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final

import trio

from engine.instruments.device_inquiry import asks, read_reply, request
from engine.live.show import Show

_ROUND: Final = 0.01  # seconds
_NS: Final = 1_000_000_000


async def identify(
    show: Show,
    outputs: Sequence[int],
    seconds: float,
    note: Callable[[str, bytes], None],
    report: Callable[[dict[str, Any]], Awaitable[None]],
    stop: trio.Event,
) -> list[dict[str, Any]]:
    """One row for each answer, and one for each output without one.

    Outputs are asked one at a time, `seconds` for each, or an answer could not be assigned to its output. `note` gets
    each message that came, with its input.
    """
    rows: list[dict[str, Any]] = []
    for place, output in enumerate(outputs, 1):
        if stop.is_set():
            break
        found = await _ask(show, output, seconds, note, stop)
        if any(_is_crossed(show, row) for row in found):  # or a late answer to the earlier question
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
                    rows.append(_row(name, event.port, said.plain(), _pairing(show, name, event.port)))
                elif asks(event.message):
                    rows.append(_row(name, event.port, None, f"what goes out at {name} comes back at {event.port}"))
    finally:
        show.unwatch(events)
    return rows or [_row(name, None, None, "no answer")]


def _row(output: str, source: str | None, identity: dict[str, Any] | None, text: str) -> dict[str, Any]:
    return {"output": output, "input": source, "identity": identity, "text": text}


def _pairing(show: Show, output: str, source: str) -> str:
    if expected := _others(show, output, source):
        return f"crossed cables: asked at {output}, answered at {source} and not at {', '.join(sorted(expected))}"
    return "one device"


def _is_crossed(show: Show, row: dict[str, Any]) -> bool:
    return row["identity"] is not None and bool(_others(show, row["output"], row["input"]))


def _others(show: Show, output: str, source: str) -> set[str]:
    """The inputs where a device at an output should have answered, if it answered elsewhere.

    An output and an input with the same name, or the same port pattern, are taken for one device's.
    """
    rig = show.engine.rig
    port = rig.outputs[output].port
    expected = {name for name, each in rig.inputs.items() if name == output or (port and each.port == port)}
    return set() if source in expected else expected
