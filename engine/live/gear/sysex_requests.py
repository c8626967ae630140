"""Requests about the instruments' memory: who is there, dumps received and sent.

They are answered with as many lines as there is progress, and a last line with "done". Anything that the client sends
meanwhile stops the work between two messages, and so does a client that goes. While a dump is received its SysEx takes
no routes; everything else does, the replies to an inquiry included.
"""

from collections.abc import Awaitable, Callable
from typing import Final

import trio

from engine.instruments.device_inquiry import Identity, read_reply
from engine.live.gear.identify import identify
from engine.live.gear.sysex_reception import SysexReception
from engine.live.gear.sysex_sending import SysexSending
from engine.live.meters import PortMeter
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.midi.kinds import SYSEX, SYSEX_END
from engine.plurals import counted
from engine.protocol import (
    Answer,
    AnswerCode,
    Facts,
    IdentifyAnswer,
    IdentifyRequest,
    ReceiveDumpRequest,
    Request,
    RequestError,
    SendDumpRequest,
    refused,
)
from engine.rig.read.raw_data import no_such

Report = Callable[[Facts], Awaitable[None]]

_FEW: Final = 200  # messages that are checked in no time
_DATA: Final = bytes(range(0x80))


class SysexRequests:
    """Talks to the instruments of one show."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._known: dict[str, Identity] = {}  # by input, from the last replies that came there
        self._busy: set[str] = set()  # outputs that a dump is being sent to

    async def serve(self, request: Request, report: Report, stop: trio.Event) -> Answer:
        """The last line of the answer; the others go to `report`. It ends early, in good order, once `stop` is set."""
        try:
            match request:
                case IdentifyRequest():
                    return await self._identify(request, report, stop)
                case ReceiveDumpRequest():
                    return await self._receive(request, report, stop)
                case SendDumpRequest():
                    return await self._send(request, report, stop)
        except RequestError as fault:
            return refused(fault.code, str(fault))
        raise TypeError(f"{request} is not about SysEx")

    async def identify_quietly(self, request: IdentifyRequest) -> Answer:
        """Without lines of progress."""

        async def unheard(progress: Facts) -> None:
            del progress

        return await self.serve(request, unheard, trio.Event())

    async def _receive(self, request: ReceiveDumpRequest, report: Report, stop: trio.Event) -> Answer:
        source = self._input(request.input)
        question = self._question(request)
        if question is not None:
            self._short_enough(question[0], (question[1],))
        reception = SysexReception(self._show, source, request.silence, request.wait)
        answer = await reception.run(report, stop, question)
        known = self._known.get(self._show.inputs[source])
        facts: Facts = {"identity": known.plain() if known else None}
        if question is not None:
            facts |= {"request": question[1].hex(" ").upper(), "output": self._show.outputs[question[0]]}
        return answer.model_copy(update=facts)

    def _question(self, request: ReceiveDumpRequest) -> tuple[int, bytes] | None:
        """The output and the message that ask for a dump, given in full or by the instrument's name in the rig."""
        name = request.instrument
        if name is None:
            return None if request.request is None else (self._open_output(request.output), _message(request.request))
        instruments = self._show.engine.rig.instruments
        if name not in instruments:
            raise RequestError(AnswerCode.UNKNOWN_INSTRUMENT, no_such("instrument", name, instruments))
        instrument = instruments[name]
        if instrument.request is None:
            text = f'the rig has no request for {name}; give it one, such as request = "F0 7D 01 F7"'
            raise RequestError(AnswerCode.NOT_IN_RIG, text)
        return self._open_output(instrument.output), bytes.fromhex(instrument.request)

    async def _send(self, request: SendDumpRequest, report: Report, stop: trio.Event) -> Answer:
        output = self._open_output(request.output)
        messages = await self._checked(output, request.messages)
        if request.first > len(messages):
            text = f"the dump has {counted(len(messages), 'message')}; it cannot go on from message {request.first}"
            raise RequestError(AnswerCode.BAD_REQUEST, text)
        source = None if request.answers is None else self._input(request.answers)
        name = self._show.outputs[output]
        if name in self._busy:
            raise RequestError(AnswerCode.BUSY, f"a dump is already being sent to {name}; wait until it is through")
        sending = SysexSending(self._show, output, messages, request.first - 1)
        sending.pause(request.gap, request.chunk)
        if request.handshake:
            sending.shake_hands(source)
        self._busy.add(name)
        try:
            return await sending.run(report, stop)
        finally:
            self._busy.discard(name)

    async def _identify(self, request: IdentifyRequest, report: Report, stop: trio.Event) -> Answer:
        outputs = [self._output(name) for name in request.outputs or self._show.engine.rig.outputs]
        rows = await identify(self._show, outputs, request.seconds, self._note, report, stop)
        devices = sum(row["identity"] is not None for row in rows)
        return IdentifyAnswer(text=f"{counted(devices, 'device', zero='no')} answered", rows=rows)

    def _note(self, name: str, message: bytes) -> None:
        """Remember who is at an input, for the notes beside later dumps."""
        reply = read_reply(message)
        if reply is not None:
            self._known[name] = reply

    async def _checked(self, output: int, listed: list[str]) -> list[bytes]:
        """The messages of a dump, if each is whole and short enough. Checking many in the loop would delay the show."""

        def check() -> list[bytes]:
            messages = [_message(each) for each in listed]
            self._short_enough(output, messages)
            return messages

        return check() if len(listed) <= _FEW else await to_its_end(check)

    # What a request names

    def _input(self, name: str) -> int:
        inputs = self._show.engine.rig.inputs
        if name not in inputs:
            raise RequestError(AnswerCode.UNKNOWN_INPUT, no_such("input", name, inputs))
        source = self._show.inputs.index(name)
        _check_open(name, self._show.ports.in_meters[source])
        return source

    def _output(self, name: str | None) -> int:
        outputs = self._show.engine.rig.outputs
        if name is None:
            raise RequestError(AnswerCode.BAD_REQUEST, f"name an output; there are: {', '.join(outputs)}")
        if name not in outputs:
            raise RequestError(AnswerCode.UNKNOWN_OUTPUT, no_such("output", name, outputs))
        return self._show.outputs.index(name)

    def _open_output(self, name: str | None) -> int:
        output = self._output(name)
        _check_open(self._show.outputs[output], self._show.ports.out_meters[output])
        return output

    def _short_enough(self, output: int, messages: list[bytes] | tuple[bytes, ...]) -> None:
        longest = self._show.ports.longest(output)
        for place, message in enumerate(messages, 1):
            if longest is not None and len(message) > longest:
                raise RequestError(
                    AnswerCode.NOT_POSSIBLE,
                    f"message {place} has {len(message):,} bytes, and the port of {self._show.outputs[output]} is sure "
                    f"to carry only {longest:,}; nothing was sent. A byte device (device = ...) takes any length",
                )


def _check_open(name: str, meter: PortMeter) -> None:
    if not meter.open:
        raise RequestError(AnswerCode.MISSING_PORT, f"{name} is missing: {meter.last_error or 'its port is not open'}")


def _message(text: str) -> bytes:
    try:
        message = bytes.fromhex(text)
    except ValueError:
        message = b""
    if len(message) < 3 or message[0] != SYSEX or message[-1] != SYSEX_END or message[1:-1].translate(None, _DATA):
        raise RequestError(AnswerCode.BAD_REQUEST, "a message is one whole SysEx in hexadecimal, from F0 to F7")
    return message
