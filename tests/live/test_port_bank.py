"""A bank of ports by itself: what it holds, sends and closes, and what it reports to its holder. (Our own design.)"""

from collections.abc import Mapping

from engine.core.cable.silencing_messages import SWEEP
from engine.live.port_bank import PortBank
from engine.live.port_opening import OpenPorts
from engine.live.reader import InputReader
from engine.ports.memory import MemoryInput, MemoryOutput
from engine.ports.port import InputPort, OutputPort, PortError
from engine.rig.models.rig import Input, Output

ON = b"\x90\x3c\x40"
MS = 1_000_000
S = 1_000_000_000


class Refusing(MemoryOutput):
    """An output whose driver refuses messages while `refuses` is set."""

    refuses = False

    def send(self, message: bytes, at: int = 0) -> None:
        if self.refuses:
            raise PortError("the driver is full")
        super().send(message)


class Holder:
    """Holds a bank of one input and one output, and writes down what it reports."""

    def __init__(self) -> None:
        self.now = 0
        self.reports: list[str] = []
        self.empty = True  # nothing waits for the cable of the output
        self.outputs = {"strings": Output(port="Strings")}
        self.reader = InputReader({}, lambda: self.now)
        self.bank = PortBank(self, self.reader, lambda: self.now)
        self.bank.extend(["keys"], ["strings"])
        self.port = Refusing("Strings")

    def wanted_inputs(self) -> Mapping[str, Input]:
        return {"keys": Input(port="Keys")}

    def wanted_outputs(self) -> Mapping[str, Output]:
        return self.outputs

    def input_opened(self, source: int, port: InputPort) -> None:
        self.reports.append(f"input {source} opened")

    def input_gone(self, source: int) -> None:
        self.reports.append(f"input {source} gone")

    def output_opened(self, output: int, port: OutputPort) -> None:
        self.reports.append(f"output {output} opened")

    def output_unstuck(self, output: int, port: OutputPort) -> None:
        self.reports.append(f"output {output} unstuck")

    def output_stuck(self, output: int) -> None:
        self.reports.append(f"output {output} stuck")

    def output_gone(self, output: int) -> None:
        self.reports.append(f"output {output} gone")

    def output_leaving(self, output: int) -> None:
        self.reports.append(f"output {output} leaving")
        self.bank.send(self.now, [(output, ON, 0)])

    def drained(self, output: int) -> bool:
        return self.empty

    def output_closed(self, output: int) -> None:
        self.reports.append(f"output {output} closed")

    def not_sent(self, now: int, output: int, message: bytes, fault: PortError | None) -> None:
        self.reports.append(f"not sent to {output}: {fault}")

    def tell(self, port: str, text: str) -> None:
        self.reports.append(f"{port}: {text}")

    def sends(self, times: int = 1) -> None:
        """Hand this many messages to the bank."""
        self.bank.send(self.now, [(0, ON, 0)] * times)

    def reported(self) -> list[str]:
        """What has been reported since the last call."""
        reports, self.reports = self.reports, []
        return reports


def test_a_port_that_is_not_open_is_missing_and_takes_nothing() -> None:
    """Its messages are counted as dropped and reported; once it is attached they reach it and are counted."""
    holder = Holder()
    assert holder.bank.missing() == ([0], [0])
    holder.sends()
    assert holder.reported() == ["not sent to 0: None"]
    holder.bank.attach_output(0, holder.port)
    holder.sends(2)
    meter = holder.bank.out_meters[0]
    assert (meter.messages, meter.octets, meter.dropped, meter.returns) == (2, 6, 1, 1)
    assert holder.bank.missing() == ([0], [])


def test_ports_that_were_open_at_the_start_have_not_returned() -> None:
    """They are in use without being reported as returned, and the reason why another is missing is kept."""
    holder = Holder()
    holder.bank.start(OpenPorts(outputs={"strings": holder.port}, missing={"inputs.keys": "nothing is plugged in"}))
    assert holder.reported() == []
    assert (holder.bank.out_meters[0].port, holder.bank.out_meters[0].returns) == ("Strings", 0)
    assert holder.bank.in_meters[0].last_error == "nothing is plugged in"


def test_an_output_that_refuses_is_stuck_until_it_takes_a_message() -> None:
    """It is reported as stuck once, checked with a silencing message, and then reported as unstuck."""
    holder = Holder()
    holder.bank.attach_output(0, holder.port)
    holder.port.refuses = True
    holder.reported()
    holder.sends(2)
    refused = ["not sent to 0: the driver is full", "strings: the driver is full"]
    assert holder.reported() == [*refused, "output 0 stuck", *refused]
    holder.bank.check_outputs()
    assert holder.bank.stuck() == [0]
    holder.port.refuses = False
    holder.bank.check_outputs()
    assert holder.reported() == ["output 0 unstuck"]
    assert holder.port.sent == [(holder.port.sent[0][0], SWEEP[0])]
    assert holder.bank.stuck() == []


def test_an_output_that_was_pulled_is_found_by_a_check() -> None:
    """It is closed, reported with the reason, and missing."""
    holder = Holder()
    holder.bank.attach_output(0, holder.port)
    holder.port.unplug("the cable is out")
    holder.reported()
    holder.bank.check_outputs()
    assert holder.reported() == ["output 0 gone", "strings: the cable is out"]
    assert holder.port.closed
    assert holder.bank.missing() == ([0], [0])


def _released(empty: bool) -> Holder:
    """A holder whose output was just released; `empty`: nothing waits for its cable."""
    holder = Holder()
    holder.bank.attach_output(0, holder.port)
    holder.outputs = {}
    holder.empty = empty
    holder.reported()
    holder.bank.release_output(0)
    holder.bank.release_output(0)  # a second time changes nothing
    assert [message for _, message in holder.port.sent] == [ON]
    assert holder.reported() == ["output 0 leaving"]
    return holder


def _closed_at(holder: Holder, *times: int) -> list[bool]:
    """Whether it is closed when it is checked at each of these times (ns)."""
    closed = []
    for at in times:
        holder.now = at
        holder.bank.check_outputs()
        assert holder.reported() == ["output 0 closed"] * holder.port.closed
        closed.append(holder.port.closed)
    return closed


def test_an_output_that_is_released_is_closed_when_the_driver_has_passed_on_its_last_messages() -> None:
    """That takes 50 ms from when its cable is idle, as at the end of a show. Until then it takes messages, and is not
    missing."""
    holder = _released(empty=True)
    assert _closed_at(holder, 0, 49 * MS) == [False, False]
    assert holder.bank.leaving(0)
    holder.sends()
    assert [message for _, message in holder.port.sent] == [ON, ON]
    assert _closed_at(holder, 50 * MS) == [True]
    assert not holder.bank.leaving(0)


def test_the_time_that_a_driver_needs_counts_from_when_the_cable_is_idle() -> None:
    """A cable that is busy again in between begins it again."""
    holder = _released(empty=False)
    assert _closed_at(holder, 200 * MS) == [False]
    holder.empty = True
    assert _closed_at(holder, 400 * MS, 449 * MS) == [False, False]
    holder.empty = False
    assert _closed_at(holder, 600 * MS) == [False]
    holder.empty = True
    assert _closed_at(holder, 800 * MS, 850 * MS) == [False, True]


def test_an_output_that_is_released_is_closed_after_two_seconds_in_any_case() -> None:
    """However much still waits for its cable."""
    assert _closed_at(_released(empty=False), 2 * S, 2 * S + 1) == [False, True]


def test_an_output_that_is_pulled_while_it_is_being_released_is_closed_once() -> None:
    """It is reported as gone, and may be opened again at once."""
    holder = Holder()
    holder.bank.attach_output(0, holder.port)
    holder.empty = False
    holder.bank.release_output(0)
    holder.port.unplug("the cable is out")
    holder.reported()
    holder.bank.check_outputs()
    assert holder.reported() == ["output 0 gone", "strings: the cable is out"]
    assert holder.bank.missing() == ([0], [0])


def test_an_input_that_was_pulled_is_gone_after_its_last_messages() -> None:
    """Its loss is reported only when its last messages have been taken."""
    holder = Holder()
    port = MemoryInput("Keys")
    holder.bank.attach_input(0, port)
    port.push(ON)
    port.unplug("the cable is out")
    holder.reported()
    for _ in range(2):
        holder.reader._poll(holder.now)  # as the reader's thread does
    holder.bank.take_losses([holder.reader.lost.popleft()])
    assert holder.reported() == []
    assert holder.reader.take() == [(0, 0, ON)]
    holder.bank.take_losses([holder.reader.lost.popleft()])
    assert holder.reported() == ["keys: the cable is out", "input 0 gone"]
    assert not holder.bank.in_meters[0].open


def test_an_input_that_lost_messages_is_gone_and_opened_again_after_its_last_messages() -> None:
    """It stays open, the loss is counted, and what comes later is still read."""
    holder = Holder()
    port = MemoryInput("Keys")
    holder.bank.attach_input(0, port)
    port.push(ON)
    holder.reported()
    holder.reader._poll(holder.now)
    holder.bank.take_losses([(0, "some may be lost")])
    assert holder.reported() == []
    holder.reader.take()
    holder.bank.take_losses([holder.reader.lost.popleft()])
    assert holder.reported() == ["keys: some may be lost", "input 0 gone", "input 0 opened"]
    meter = holder.bank.in_meters[0]
    assert (meter.open, meter.dropped, meter.last_error) == (True, 1, "some may be lost")
    port.push(ON)
    holder.reader._poll(holder.now)
    assert holder.reader.take() == [(0, 0, ON)]


def test_names_keep_their_index() -> None:
    """Known names are skipped; new ones are added at the end."""
    holder = Holder()
    holder.bank.extend(["pads", "keys"], ["brass", "strings"])
    assert holder.bank.inputs == ["keys", "pads"]
    assert holder.bank.outputs == ["strings", "brass"]
    assert len(holder.bank.in_meters) == len(holder.bank.out_meters) == 2
    holder.bank.send(0, [(1, ON, 0)])
    assert holder.reported() == ["not sent to 1: None"]
