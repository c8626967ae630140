"""Sends a dump: message by message as the cable empties, so that music and real time pass beside it."""

from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final

import trio

from engine.core.cable.queues import SHORT_SYSEX
from engine.instruments.dump_handshake import CANCEL, Handshake, HandshakeVerdict, answer, packet_number
from engine.live.show import Show, ShowEvent
from engine.protocol import AnswerCode, SentAnswer

_ROUND: Final = 0.002  # seconds
_FRAME: Final = 200_000_000  # ns between lines of progress
_AHEAD: Final = 4_000_000  # ns that may wait for the cable: two rounds, so that it never runs empty
_FAR_AHEAD: Final = 50_000_000  # ns for another machine's cable: what the network's delay may vary by
_NS: Final = 1_000_000_000
_ENDS: Final = {
    HandshakeVerdict.CANCELLED: AnswerCode.INTERRUPTED,
    HandshakeVerdict.REFUSED: AnswerCode.INTERRUPTED,
    HandshakeVerdict.SILENT: AnswerCode.NO_ANSWER,
}
_UNIVERSAL: Final = 0x7E


class SendingInterrupted(Exception):
    """A message did not reach the cable; `code`, and the text says why."""

    def __init__(self, code: AnswerCode, text: str) -> None:
        super().__init__(text)
        self.code = code


class SysexSending:
    """One dump on its way to one output, from message `place` (0 is the first) on."""

    def __init__(self, show: Show, output: int, messages: Sequence[bytes], place: int) -> None:
        self._show = show
        self._output = output
        self._name = show.outputs[output]
        self._all = messages
        self._octets = sum(map(len, messages))
        self._gone = sum(map(len, messages[:place]))
        self._place = place  # of the next message that is handed to the cable
        self._waiting: deque[bytes] = deque()  # those that the cable has not handed to the driver
        self._events: deque[ShowEvent] = deque()
        self._gap = 0
        self._chunk = 0
        self._since_gap = 0
        self._hands: Handshake | None = None
        self._answers: str | None = None
        self._reported_at = 0
        self._not_before = 0

    def pause(self, gap: float, chunk: int | None) -> None:
        """Wait `gap` seconds after each message, or only once `chunk` bytes have gone since the last pause."""
        self._gap = round(gap * _NS)
        self._chunk = chunk or 0

    def shake_hands(self, source: int | None) -> None:
        """Wait for the instrument's answer after each message, from this input or from any."""
        self._hands = Handshake()
        self._answers = None if source is None else self._show.inputs[source]

    async def run(self, report: Callable[[dict[str, Any]], Awaitable[None]], stop: trio.Event) -> SentAnswer:
        """Send; the answer. It ends when the last byte is on the cable, or between two messages if stopped."""
        self._events = self._show.watch()
        try:
            while self._place < len(self._all) and not stop.is_set():
                await self._feed(report, stop)
            await self._settle()
            if self._hands is not None and self._place < len(self._all):
                self._call_off(self._all[self._place])
        except SendingInterrupted as fault:
            return self._ended(fault.code, str(fault))
        finally:
            self._show.unwatch(self._events)
        if self._place < len(self._all):
            return self._ended(AnswerCode.STOPPED, "stopped")
        return self._ended(AnswerCode.DONE, "")

    async def _feed(self, report: Callable[[dict[str, Any]], Awaitable[None]], stop: trio.Event) -> None:
        """One step: hand a message to the cable, or wait a little."""
        now = self._show.clock()
        if now - self._reported_at >= _FRAME:
            self._reported_at = now
            await report({"progress": self._progress()})
        if now < self._not_before:
            await trio.sleep(min(_ROUND * 10, (self._not_before - now) / _NS))
            return
        message = self._all[self._place]
        if not self._room_for(message):
            await trio.sleep(_ROUND)
            self._look()
            return
        self._waiting.append(message)
        self._place += 1
        self._gone += len(message)
        self._show.send(((self._output, message),))
        self._look()
        self._since_gap += len(message)
        if self._hands is not None:
            await self._settle()
            verdict = await self._answered(self._hands, stop)
            if verdict is not HandshakeVerdict.NEXT:
                self._place -= 1
                self._gone -= len(message)
            if verdict in _ENDS:
                raise SendingInterrupted(_ENDS[verdict], verdict.value)
            if verdict is not HandshakeVerdict.NEXT:
                return
        if self._gap and self._since_gap >= self._chunk:
            await self._settle()
            self._since_gap = 0
            self._not_before = self._show.clock() + self._gap
        await trio.lowlevel.checkpoint()

    def _room_for(self, message: bytes) -> bool:
        """Whether the cable may have it now. Short SysEx overtakes long on a cable; a dump keeps its order."""
        cable = self._show.engine.state.cables[self._output]
        if cable.remote is not None:  # it would wait at the other machine, out of reach
            return cable.carried_at - self._show.clock() < _FAR_AHEAD
        if not self._waiting:
            return True
        speed = cable.speed
        if speed is None or (len(message) <= SHORT_SYSEX < max(map(len, self._waiting))):
            return False
        return sum(map(speed.cost, self._waiting)) < _AHEAD

    def _look(self) -> None:
        """See what was handed to the driver and what the instrument answered. Raises SendingInterrupted."""
        if len(self._events) == self._events.maxlen:
            raise SendingInterrupted(AnswerCode.INTERRUPTED, "too many messages passed at once")
        while self._events:
            event = self._events.popleft()
            if event.message is None:
                continue
            if event.way == "out":
                if self._waiting and event.message is self._waiting[0]:
                    message = self._waiting.popleft()
                    if self._hands is not None:  # from here on: the cable may be faster than it is paced
                        self._hands.sent(self._show.engine.state.cables[self._output].carried_at, message)
            elif self._hands is not None and self._answers in (None, event.port):
                self._hands.hear(event.message)
        if self._waiting and not self._show.engine.state.cables[self._output].holds(self._waiting[0]):
            self._place -= len(self._waiting)
            self._gone -= sum(map(len, self._waiting))
            meter = self._show.ports.out_meters[self._output]
            if not meter.open:
                raise SendingInterrupted(AnswerCode.MISSING_PORT, f"{self._name} was lost: {meter.last_error}")
            reason = meter.last_error or "a panic, or too much waited for the cable"
            raise SendingInterrupted(AnswerCode.INTERRUPTED, f"a message was dropped ({reason})")

    async def _settle(self) -> None:
        """Until everything handed over is on the cable to its last byte."""
        while self._waiting:
            await trio.sleep(_ROUND)
            self._look()
        while True:
            left = self._show.engine.state.cables[self._output].carried_at - self._show.clock()
            if left <= 0:
                return
            await trio.sleep(min(left / _NS, 0.1))

    async def _answered(self, hands: Handshake, stop: trio.Event) -> HandshakeVerdict:
        """The instrument's answer to this message; PENDING if the player stops it meanwhile."""
        while (verdict := hands.verdict(self._show.clock())) is HandshakeVerdict.PENDING and not stop.is_set():
            await trio.sleep(_ROUND)
            self._look()
        return verdict

    def _call_off(self, message: bytes) -> None:
        """Tell an instrument that receives a universal dump that it has ended."""
        if message[1] == _UNIVERSAL:
            self._show.send(((self._output, answer(CANCEL, message[2], packet_number(message) or 0)),))

    def _progress(self) -> dict[str, Any]:
        """Counts of the whole messages that went to the cable."""
        count, octets = len(self._all) - self._place, self._octets - self._gone
        speed = self._show.engine.state.cables[self._output].speed
        gaps = octets / self._chunk if self._chunk else count
        on_cable = (octets + count * speed.overhead) * speed.byte_ns if speed else 0
        return {
            "messages": self._place,
            "of": len(self._all),
            "bytes": self._gone,
            "of_bytes": self._octets,
            "left_s": round((on_cable + gaps * self._gap) / _NS, 1),
        }

    def _ended(self, code: AnswerCode, why: str) -> SentAnswer:
        at, of = self._place, len(self._all)
        done = code is AnswerCode.DONE
        text = f"{of} messages were sent to {self._name}"
        if not done:
            text = f"{why}; {at} of {of} messages were sent to {self._name}. Go on with: --from {at + 1}"
        return SentAnswer(done=done, code=code, text=text, **self._progress())
