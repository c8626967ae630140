"""Dumps for a page, each in one request and one answer; the shell shows the progress, and takes longer ones."""

from typing import Final

import trio

from engine.live.gear.sysex_requests import SysexRequests
from engine.protocol import (
    Answer,
    AnswerCode,
    DumpAnswer,
    DumpReceiveRequest,
    DumpSendRequest,
    Facts,
    Handler,
    ReceivedAnswer,
    ReceiveDumpRequest,
    Request,
    SendDumpRequest,
    refused,
)

_MOST: Final = 128 << 10  # bytes of a dump
_LONGEST: Final = 25.0  # seconds until it is through; the panel waits for thirty
_WAIT: Final = 15.0  # seconds until its first message
_SILENCE: Final = 2.0  # seconds of silence that end it


class DumpRequests:
    """Handlers for one show."""

    def __init__(self, sysex: SysexRequests) -> None:
        self._sysex = sysex
        self.handlers: dict[type[Request], Handler] = {DumpReceiveRequest: self._receive, DumpSendRequest: self._send}

    async def _receive(self, asked: DumpReceiveRequest) -> Answer:
        messages: list[str] = []
        stop = trio.Event()

        async def collect(progress: Facts) -> None:
            messages.extend(progress.get("messages", ()))
            if sum(map(len, messages)) > 2 * _MOST:
                stop.set()

        request = ReceiveDumpRequest.model_validate({**asked.model_dump(), "silence": _SILENCE, "wait": _WAIT})
        answer: Answer | None = None
        with trio.move_on_after(_LONGEST):
            answer = await self._sysex.serve(request, collect, stop)
        if answer is None or stop.is_set():
            text = "the dump is longer than a page can take: bayleaf sysex receive takes it"
            return refused(AnswerCode.NOT_POSSIBLE, text)
        if not isinstance(answer, ReceivedAnswer) or not answer.done:
            return answer
        return DumpAnswer(text=f"{asked.input}: {answer.messages} SysEx, {answer.bytes:,} bytes", messages=messages)

    async def _send(self, asked: DumpSendRequest) -> Answer:
        stop = trio.Event()

        async def unheard(progress: Facts) -> None:
            del progress

        async def give_up() -> None:
            await trio.sleep(_LONGEST)
            stop.set()

        async with trio.open_nursery() as nursery:
            nursery.start_soon(give_up)
            request = SendDumpRequest.model_validate(asked.model_dump())
            answer = await self._sysex.serve(request, unheard, stop)
            nursery.cancel_scope.cancel()
        return answer
