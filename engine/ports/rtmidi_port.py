"""One input or output on an rtmidi object, which is polled, bounded, and closed only by deleting it."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import rtmidi

from engine.midi.byte_stream import StreamParser
from engine.ports.port import DriverFlow, MessagesLost, PortError
from engine.ports.send_budget import SendBudget

#: Places in RtMidi's queue of what has come and was not polled; one stays free. RtMidi drops what finds no room, and
#: says so on standard error only (RtMidi 5.0.0, MidiInApi::MidiQueue::push).
QUEUE: Final = 8192
_FULL: Final = QUEUE - 1
_OPEN_SYSEX: Final = 5_000_000_000  # ns without a byte after which an unfinished SysEx is abandoned


def make_device(kind: Any, api: int, client: str) -> Any:
    """An rtmidi.MidiIn (one that keeps all kinds of messages until it is polled) or MidiOut. Raises RtMidiError."""
    if kind is rtmidi.MidiOut:
        return kind(api, name=client)
    device = kind(api, name=client, queue_size_limit=QUEUE)
    device.ignore_types(False, False, False)
    return device


@dataclass
class RtmidiDevice:
    """What a port holds while it is open.

    `made`: the rtmidi object, None once the port is closed; `check` raises PortGone if the port has gone by now (ns);
    `let_go` is called with the port and the object when the port closes; `descriptors`: see WatchableInput.
    """

    made: Any
    check: Callable[[int], None]
    let_go: Callable[[object, Any], None]
    descriptors: tuple[int, ...] = ()

    def close(self, port: object) -> None:
        """Closing again does nothing."""
        made, self.made = self.made, None
        if made is not None:
            self.let_go(port, made)


class RtmidiInput:
    """An InputPort on an rtmidi.MidiIn; for `period` see PeriodicInput."""

    def __init__(self, name: str, device: RtmidiDevice, period: float = 0.0) -> None:
        self.name = name
        self.period = period
        self._device = device
        self.stream = StreamParser()
        self._heard_at = 0
        self._was_full = False  # the last poll found as much as the queue holds

    @property
    def descriptors(self) -> tuple[int, ...]:
        """See WatchableInput. RtMidi's own thread reads there, and then puts what came into the queue."""
        return self._device.descriptors if self._device.made is not None else ()

    def poll(self) -> list[bytes]:
        """See InputPort. PortGone and MessagesLost are raised once everything that had arrived before was read."""
        device = self._device.made
        if device is None:
            return []
        if self._was_full:
            self._report_full_queue()
        now = time.monotonic_ns()
        messages: list[bytes] = []
        for _ in range(_FULL):
            event = device.get_message()
            if event is None:
                break
            self._heard_at = now
            messages += self.stream.feed(bytes(event[0]))
        else:
            self._was_full = True
        if self.stream.open and now - self._heard_at > _OPEN_SYSEX:
            self.stream.abandon()
        if not messages:
            self._device.check(now)
        return messages

    def close(self) -> None:
        """See InputPort."""
        self._device.close(self)

    def _report_full_queue(self) -> None:
        self._was_full = False
        self.stream.abandon()  # the rest of a SysEx may be among what was lost
        raise MessagesLost(f'"{self.name}" sent more than its queue of {_FULL:,} messages holds; some may be lost')


class RtmidiOutput:
    """An OutputPort on an rtmidi.MidiOut; `budget` guards the driver's queue, if it has one that must not fill."""

    def __init__(self, name: str, device: RtmidiDevice, longest: int | None, budget: SendBudget | None) -> None:
        self.name = name
        self.longest = longest
        self._device = device
        self._budget = budget

    @property
    def flow(self) -> DriverFlow | None:
        """See OutputPort."""
        return self._budget.flow if self._budget else None

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        device = self._device.made
        if device is None:
            raise PortError(f'"{self.name}" is closed')
        if self.longest is not None and len(message) > self.longest:
            raise PortError(
                f'"{self.name}" takes at most {self.longest} bytes per message; one of {len(message)} was not sent'
            )
        now = time.monotonic_ns()
        self._device.check(now)
        if self._budget is not None and not self._budget.take(now, message):
            raise PortError(f'"{self.name}" is full: what was sent before has not been taken yet')
        try:
            device.send_message(message)
        except (rtmidi.RtMidiError, ValueError) as fault:
            raise PortError(f'"{self.name}" refused a message: {fault}') from fault

    def check(self) -> None:
        """See OutputPort."""
        if self._device.made is not None:
            self._device.check(time.monotonic_ns())

    def close(self) -> None:
        """See OutputPort."""
        self._device.close(self)
