"""Listens at the inputs that the rig does not use, so that a player finds a port by playing it.

The ports stay open while somebody goes on asking; each question takes what has arrived since the last one.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

import trio

from engine.live.process.worker_threads import in_a_thread
from engine.midi.kinds import FIRST_REAL_TIME
from engine.midi.message_words import MiddleC, describe
from engine.plurals import counted
from engine.ports.port import InputPort, PortError, PortSystem
from engine.protocol import Answer, AnswerCode, Facts, ListenAnswer, refused
from engine.rig.short_port_names import short_names

_ROUND: Final = 1.0  # seconds
_IDLE: Final = 5.0  # seconds without a question after which the ports are closed


@dataclass
class _Heard:
    """An open port, how many messages came, and the last of them."""

    port: InputPort
    messages: int = 0
    last: bytes = b""

    def take(self) -> None:
        """Count what has arrived, but for clocks and active sensing. Raises PortError."""
        for message in self.port.poll():
            if message[0] < FIRST_REAL_TIME:
                self.messages += 1
                self.last = message


class PortListening:
    """For one system of ports. Loop only; what blocks is done in a thread."""

    def __init__(self, system: PortSystem) -> None:
        self._system = system
        self._heard: dict[str, _Heard] = {}
        self._lock = trio.Lock()
        self._asked_at = 0.0

    async def run(self) -> None:
        """Close the ports when nobody asks any more. Until cancelled."""
        try:
            while True:
                await trio.sleep(_ROUND)
                if self._heard and trio.current_time() - self._asked_at > _IDLE:
                    async with self._lock:
                        await in_a_thread(self._keep, ())
        finally:
            self._keep(())

    async def listen(self, used: Collection[str], middle_c: MiddleC) -> Answer:
        """The ports that are not `used`, by the system's names, and what has come at each since the first question."""
        async with self._lock:
            self._asked_at = trio.current_time()
            try:
                inputs, outputs = await in_a_thread(self._listened, used)
            except PortError as fault:
                return refused(AnswerCode.MISSING_PORT, str(fault))
            rows = zip(inputs, short_names(inputs), strict=True)
            return ListenAnswer(
                text=f"{counted(len(inputs), 'unused input')}, {counted(len(outputs), 'unused output')}",
                inputs=[self._row(port, name, middle_c) for port, name in rows],
                outputs=[
                    {"port": port, "name": name} for port, name in zip(outputs, short_names(outputs), strict=True)
                ],
            )

    def _row(self, port: str, name: str, middle_c: MiddleC) -> Facts:
        heard = self._heard.get(port)
        messages, last = (heard.messages, heard.last) if heard is not None else (0, b"")
        return {"port": port, "name": name, "messages": messages, "last": describe(last, middle_c) if last else ""}

    def _listened(self, used: Collection[str]) -> tuple[list[str], list[str]]:
        inputs = [port for port in self._system.inputs() if port not in used]
        outputs = [port for port in self._system.outputs() if port not in used]
        self._keep(inputs)
        for name in dict.fromkeys(inputs):
            try:
                if name not in self._heard:
                    self._heard[name] = _Heard(self._system.open_input(name))
                self._heard[name].take()
            except PortError:  # it has gone, or others have it: it is listed without a sign
                self._keep(each for each in self._heard if each != name)
        return inputs, outputs

    def _keep(self, wanted: Iterable[str]) -> None:
        """Close the ports that are not wanted."""
        kept = {*wanted}
        for name in [each for each in self._heard if each not in kept]:
            self._heard.pop(name).port.close()
