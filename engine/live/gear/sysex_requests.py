"""What the shell asks of the instruments over the socket: who is there, dumps received and sent.

One request, {"do": "sysex", "what": "identify", "receive" or "send", …}; then as many lines as there is progress to
tell, and a last one with "done". Whatever the asker says meanwhile, or its going, stops the work at a message boundary.
While a dump is written down its SysEx takes no routes; all else does, the replies to an inquiry included.
"""

from collections.abc import Awaitable, Callable
from typing import Any, Final

import trio

from engine.instruments.device_inquiry import Identity, read_reply
from engine.live.gear.identify import identify
from engine.live.gear.sysex_reception import SysexReception
from engine.live.gear.sysex_sending import SysexSending
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.midi.kinds import SYSEX, SYSEX_END
from engine.plurals import counted

Answer = dict[str, Any]
Report = Callable[[Answer], Awaitable[None]]

MOST_SECONDS: Final = 3600.0
_MOST_BYTES: Final = 1 << 24
_FEW: Final = 200  # messages that are looked through in no time
_DATA: Final = bytes(range(0x80))


class SysexRequestError(Exception):
    """The request is at fault, or the instrument; one sentence for the player."""


class SysexRequests:
    """Talks to the instruments of one show."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._known: dict[str, Identity] = {}  # by input, from the last replies that were heard there
        self._busy: set[str] = set()  # outputs that a dump is being sent to

    async def serve(self, request: Answer, report: Report, stop: trio.Event) -> Answer:
        """The last line of the answer; the others go to `report`. It ends early, in good order, once `stop` is set."""
        try:
            what = request.get("what")
            if what == "receive":
                return await self._receive(request, report, stop)
            if what == "send":
                return await self._send(request, report, stop)
            if what == "identify":
                return await self._identify(request, report, stop)
        except SysexRequestError as fault:
            return {"done": False, "text": str(fault)}
        return {"done": False, "text": "sysex takes identify, receive or send"}

    async def _receive(self, request: Answer, report: Report, stop: trio.Event) -> Answer:
        source = self._input(request.get("input"))
        asked = self._asked(request)
        if asked is not None:
            self._short_enough(asked[0], (asked[1],))
        silence, wait = _seconds(request, "silence", 2.0), _seconds(request, "wait", 60.0)
        answer = await SysexReception(self._show, source, silence, wait).run(report, stop, asked)
        known = self._known.get(self._show.inputs[source])
        said = {"request": asked[1].hex(" ").upper(), "output": self._show.outputs[asked[0]]} if asked else {}
        return {**answer, **said, "identity": known.plain() if known else None}

    def _asked(self, request: Answer) -> tuple[int, bytes] | None:
        """The output and the message that ask for a dump, in so many words or by the instrument's name in the rig."""
        name = request.get("instrument")
        if name is None:
            question = request.get("request")
            return None if question is None else (self._open_output(request.get("output")), _message(question))
        instruments = self._show.engine.rig.instruments
        if not isinstance(name, str) or name not in instruments:
            raise SysexRequestError(f"there is no instrument {name}; there are {', '.join(instruments)}")
        gear = instruments[name]
        if gear.request is None:
            raise SysexRequestError(f'the rig has no request for {name}; give it one, such as request = "F0 7D 01 F7"')
        return self._open_output(gear.output), bytes.fromhex(gear.request)

    async def _send(self, request: Answer, report: Report, stop: trio.Event) -> Answer:
        output = self._open_output(request.get("output"))
        listed = request.get("messages")
        if not isinstance(listed, list) or not listed:
            raise SysexRequestError("send needs messages")
        messages = await self._looked_through(output, listed)
        first = request.get("from", 1)
        if type(first) is not int or not 1 <= first <= len(messages):
            raise SysexRequestError(
                f"the dump has messages 1 to {len(messages)}; there is none to go on from at {first}"
            )
        chunk = request.get("chunk")
        if chunk is not None and (type(chunk) is not int or not 1 <= chunk <= _MOST_BYTES):
            raise SysexRequestError("a chunk is a number of bytes above 0")
        answers = request.get("answers")
        source = None if answers is None else self._input(answers)
        name = self._show.outputs[output]
        if name in self._busy:
            raise SysexRequestError(f"a dump is being sent to {name} already; wait until it is through")
        sending = SysexSending(self._show, output, messages, first - 1)
        sending.pause(_seconds(request, "gap", 0.0), chunk)
        if request.get("handshake") is True:
            sending.shake_hands(source)
        self._busy.add(name)
        try:
            return await sending.run(report, stop)
        finally:
            self._busy.discard(name)

    async def _identify(self, request: Answer, report: Report, stop: trio.Event) -> Answer:
        named = request.get("outputs") or list(self._show.engine.rig.outputs)
        if not isinstance(named, list):
            raise SysexRequestError("identify takes a list of outputs")
        outputs = [self._output(name) for name in named]
        seconds = _seconds(request, "seconds", 0.5)
        rows = await identify(self._show, outputs, seconds, self._note, report, stop)
        devices = sum(row["identity"] is not None for row in rows)
        return {"done": True, "text": f"{counted(devices, 'device', zero='no')} answered", "rows": rows}

    def _note(self, name: str, message: bytes) -> None:
        """Remember who is at an input, for the notes beside later dumps."""
        said = read_reply(message)
        if said is not None:
            self._known[name] = said

    async def _looked_through(self, output: int, listed: list[Any]) -> list[bytes]:
        """The messages of a dump, if each is whole and short enough. A long one would hold up the music on the loop."""

        def look() -> list[bytes]:
            messages = [_message(each) for each in listed]
            self._short_enough(output, messages)
            return messages

        return look() if len(listed) <= _FEW else await to_its_end(look)

    # What a request names

    def _input(self, name: object) -> int:
        inputs = self._show.engine.rig.inputs
        if not isinstance(name, str) or name not in inputs:
            raise SysexRequestError(f"there is no input {name}; there are {', '.join(inputs)}")
        source = self._show.inputs.index(name)
        if not self._show.ports.in_meters[source].open:
            raise SysexRequestError(
                f"{name} is missing: {self._show.ports.in_meters[source].last_error or 'its port is not open'}"
            )
        return source

    def _output(self, name: object) -> int:
        outputs = self._show.engine.rig.outputs
        if not isinstance(name, str) or name not in outputs:
            raise SysexRequestError(f"there is no output {name}; there are {', '.join(outputs)}")
        return self._show.outputs.index(name)

    def _open_output(self, name: object) -> int:
        output = self._output(name)
        if not self._show.ports.out_meters[output].open:
            raise SysexRequestError(
                f"{name} is missing: {self._show.ports.out_meters[output].last_error or 'its port is not open'}"
            )
        return output

    def _short_enough(self, output: int, messages: list[bytes] | tuple[bytes, ...]) -> None:
        longest = self._show.ports.longest(output)
        for place, message in enumerate(messages, 1):
            if longest is not None and len(message) > longest:
                raise SysexRequestError(
                    f"message {place} has {len(message):,} bytes, and the port of {self._show.outputs[output]} surely "
                    f"carries {longest:,}; nothing was sent. A byte device (device = ...) takes any length"
                )


def _message(text: object) -> bytes:
    try:
        message = bytes.fromhex(text) if isinstance(text, str) else b""
    except ValueError:
        message = b""
    if len(message) < 3 or message[0] != SYSEX or message[-1] != SYSEX_END or message[1:-1].translate(None, _DATA):
        raise SysexRequestError("a message is one whole SysEx in hexadecimal, from F0 to F7")
    return message


def _seconds(request: Answer, key: str, otherwise: float) -> float:
    value = request.get(key, otherwise)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= MOST_SECONDS:
        raise SysexRequestError(f"{key} is a number of seconds from 0 to {MOST_SECONDS:.0f}")
    return float(value)
