"""A show on virtual time with an instrument, written from the standards, that answers SysEx."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import trio

from engine.core.commands import RecallScene
from engine.live.gear.sysex_requests import SysexRequests
from engine.protocol import Answer, IdentifyRequest, ReceiveDumpRequest, Request, SendDumpRequest
from tests.support.answered import answered
from tests.support.simulated_instrument import Instrument
from tests.support.small_show import Bench

RIG = """
format = 1
[rig]
name = "Lantern Street pit band"
[inputs]
organ = { port = "Organ in" }
keys = { port = "Keys in" }
[outputs]
organ = { port = "Organ out", wire = "din" }
brass = { port = "Brass out", wire = "din" }
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "organ", to = "brass" }, { from = "keys", to = "organ" }]
"""
ORGAN, KEYS = 0, 1
DUMP = [bytes((0xF0, 0x7D, number, *[number] * size, 0xF7)) for number, size in enumerate((1, 300, 20, 700, 2, 40))]


class SysexStand:
    """A show on trio's time; an instrument is connected to the output organ and answers at an input."""

    def __init__(self, rig: str = RIG) -> None:
        self.bench = Bench(rig)
        self.show = self.bench.show
        self.show.clock = lambda: round(trio.current_time() * 1e9)
        self.gear = SysexRequests(self.show)
        self.instrument = Instrument()
        self.answers_at = ORGAN
        self.lines: list[dict[str, Any]] = []
        self.stop = trio.Event()
        self.cable: list[tuple[int, bytes]] = []  # (ns, message) of the output organ

    async def live(self) -> None:
        """What the reader's thread and the cables do."""
        while True:
            await trio.sleep(0.004)  # how often they have their turn, in virtual time; nothing wakes them
            output = self.bench.outputs["organ"]
            for _, message in output.sent:
                self.cable.append((self.show.clock(), message))
                for answer in self.instrument.hear(self.show.clock(), message):
                    self.bench.reader.put(self.answers_at, answer.hex())
            output.sent.clear()
            self.show.pump()

    async def ask(self, what: str, **more: Any) -> dict[str, Any]:
        """The last line of the answer; the others are in `lines`."""

        async def report(line: dict[str, Any]) -> None:
            self.lines.append(line)

        async def serve(request: Request) -> Answer:
            return await self.gear.serve(request, report, self.stop)

        models: tuple[type[Request], ...] = (IdentifyRequest, ReceiveDumpRequest, SendDumpRequest)
        handlers = dict.fromkeys(models, serve)
        return await answered(handlers, {"do": "sysex", "what": what, **more})

    @property
    def received(self) -> list[bytes]:
        return [bytes.fromhex(text) for line in self.lines for text in line.get("messages", ())]


@asynccontextmanager
async def playing(rig: str = RIG) -> AsyncIterator[Any]:
    stand = SysexStand(rig)
    stand.show.apply(RecallScene(1), "shell")
    async with trio.open_nursery() as nursery:
        nursery.start_soon(stand.live)
        yield stand
        nursery.cancel_scope.cancel()
