"""Receives a dump: all SysEx of one input until it falls silent."""

from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final

import trio

from engine.core.commands import KeepSysexBack
from engine.core.routing.loops import QUESTION
from engine.live.show import Show, ShowEvent
from engine.midi.kinds import SYSEX
from engine.protocol import AnswerCode, ReceivedAnswer

_ROUND: Final = 0.01  # seconds
_NS: Final = 1_000_000_000


class SysexReception:
    """One dump."""

    def __init__(self, show: Show, source: int, silence: float, wait: float) -> None:
        """`silence`: seconds without a message that end it; `wait`: seconds until the first message must arrive."""
        self._show = show
        self._source = source
        self._name = show.inputs[source]
        self._silence = silence
        self._wait = wait
        self._messages = 0
        self._octets = 0
        self._longest = 0

    async def run(
        self,
        report: Callable[[dict[str, Any]], Awaitable[None]],
        stop: trio.Event,
        asked: tuple[int, bytes] | None,
    ) -> ReceivedAnswer:
        """What came, or why it is not a whole dump; `asked`: an output and a request that is sent there first."""
        show, source = self._show, self._source
        mended, lost = show.reader.repairs().get(source, 0), self._lost()
        events = show.watch()
        show.apply(KeepSysexBack(self._name, True))  # an instrument of the same kind would load the dump
        try:
            if asked is not None:
                show.send((asked,))
            code, fault = await self._listen(events, report, stop)
        finally:
            show.apply(KeepSysexBack(self._name, False))
            show.unwatch(events)
        if not fault and show.reader.repairs().get(source, 0) > mended:
            code, fault = AnswerCode.INTERRUPTED, f"the dump from {self._name} was cut in the middle of a message"
        if not fault and self._lost() > lost:
            code, fault = AnswerCode.INTERRUPTED, f"{self._name} sent too much at once; part of the dump was lost"
        if fault:
            return ReceivedAnswer(done=False, code=code, text=f"{fault}; nothing was written")
        return ReceivedAnswer(text="", messages=self._messages, bytes=self._octets, longest=self._longest)

    def _lost(self) -> int:
        """How many messages of this input found no room so far."""
        return self._show.reader.shed(self._source) + self._show.ports.in_meters[self._source].dropped

    async def _listen(
        self, events: Any, report: Callable[[dict[str, Any]], Awaitable[None]], stop: trio.Event
    ) -> tuple[AnswerCode, str]:
        """Until it is silent; a sentence if what came cannot be whole, else ""."""
        show, last_at = self._show, self._show.clock()
        while True:
            await trio.sleep(_ROUND)
            if len(events) == events.maxlen:
                return AnswerCode.INTERRUPTED, "too many messages passed at once"
            passed = [events.popleft() for _ in range(len(events))]
            found = self._of_dump(passed)
            if found:
                last_at = show.clock()
                await report(self._progress(found))
            if stop.is_set():
                return AnswerCode.STOPPED, "stopped"
            if not show.ports.in_meters[self._source].open:
                return AnswerCode.MISSING_PORT, f"{self._name} was unplugged while the dump came in"
            if show.reader.begun(self._source):  # a long message is on its way; the port gives it up if it stalls
                last_at = show.clock()
            elif show.clock() - last_at > (self._silence if self._messages else self._wait) * _NS:
                if self._messages:
                    return AnswerCode.DONE, ""
                return AnswerCode.NO_ANSWER, f"nothing came from {self._name} within {self._wait:g} seconds"

    def _of_dump(self, passed: Sequence[ShowEvent]) -> list[bytes]:
        return [
            event.message
            for event in passed
            if event.way == "in"
            and event.port == self._name
            and event.message is not None
            and event.message[0] == SYSEX
            and not event.message.startswith(QUESTION)  # our own, by which loops are found
        ]

    def _progress(self, found: list[bytes]) -> dict[str, Any]:
        self._messages += len(found)
        self._octets += sum(map(len, found))
        self._longest = max(self._longest, *map(len, found))
        return {
            "progress": {"messages": self._messages, "bytes": self._octets},
            "messages": [message.hex() for message in found],
        }
