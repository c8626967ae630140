"""What JACK through one client promises beyond the conformance suite, on a real server."""

import contextlib
import os
import re
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import pytest

from engine.ports.port import AwaitedInput, InputPort, MessagesLost, OutputPort, PortError, PortGone, StampedInput
from tests.support.jack_missed import TRIES, carried, missed_periods, were_missed
from tests.support.jack_servers import SERVER
from tests.support.jack_systems import JackPorts, one_client
from tests.support.needed import need_module
from tests.support.port_conformance import sysex
from tests.support.waiting import WITHIN, until, until_there_are

if TYPE_CHECKING:
    from engine.ports.jack_client.native import Client

T = TypeVar("T")
NOTE = b"\x90\x40\x40"
PERIOD = 512 / 48_000  # seconds, of the tests' servers
LATEST = 3.0  # seconds after which a message has arrived for certain, if it arrives
FRAME_NS = 1e9 / 48_000
LENGTHS = (1, 2, 3, 16, 1023, 1024, 1025, 4096, 16_379, 16_380, 32_000, 32_721, 65_536, 99_999, 100_000)


@pytest.fixture
def system(jack_server: str) -> Iterator[JackPorts]:
    """Our ports, under the name "bayleaf"."""
    system = one_client("bayleaf")
    yield system
    system.close()


@pytest.fixture
def far(jack_server: str) -> Iterator["Client"]:
    """Another program, with a port "far:play" (place 256) and a port "far:hear" (place 0)."""
    need_module("engine.ports.jack_client.native")
    from engine.ports.jack_client.native import Client

    far = Client("far")
    assert (far.open(True, "play"), far.open(False, "hear")) == (256, 0)
    yield far
    far.close()


@pytest.fixture
def line(system: JackPorts, far: "Client") -> Iterator[tuple[InputPort, OutputPort]]:
    """Our input and output, connected to that program."""
    source, output = system.open_input("far:play"), system.open_output("far:hear")
    yield source, output
    source.close()
    output.close()


@pytest.fixture
def missed(jack_server: str, far: "Client") -> Iterator[Callable[[], int]]:
    """How many periods the server, or that program, has missed: what is in them is late or lost."""
    with missed_periods() as count:
        yield lambda: count() + far.missed


def _undisturbed(missed: Callable[[], int], trial: Callable[[], T | None]) -> T:
    """What a trial brings in which no period was missed. `trial`: its result, None if it was too late itself.

    A trial may wait in vain for what came in a period that was missed, and for nothing else.
    """
    for _ in range(TRIES):
        before = missed()
        try:
            found = trial()
        except AssertionError:
            if not were_missed(missed, before):
                raise
            continue
        time.sleep(4 * PERIOD)  # until a missed one has been reported
        if found is not None and missed() == before:
            return found
    raise AssertionError(f"a period was missed in each of {TRIES} trials")


def _clients() -> set[str]:
    return {path.name.partition(f"_{SERVER}_")[2] for path in Path("/dev/shm").glob(f"jack_sem.*_{SERVER}_*")}


def _heard(far: "Client", count: int, within: float = WITHIN) -> list[tuple[int, bytes]]:
    found: list[tuple[int, bytes]] = []
    until_there_are(count, found, lambda: far.read(0), within=within)
    return found


def test_all_ports_are_one_client(system: JackPorts) -> None:
    """However many ports are open, of our own or connected, other programs see one client, and their names say which
    way each goes; an input and an output of the rig may have the same name."""
    assert system.driver.startswith("JACK through one client")
    before = _clients()
    ports: list[InputPort | OutputPort] = []
    for number in range(28):
        ports += [system.open_virtual_input(f"desk {number}"), system.open_virtual_output(f"desk {number}")]
    assert _clients() == before
    assert [port.name for port in ports[:2]] == ["bayleaf:in:desk 0", "bayleaf:out:desk 0"]
    ears = one_client("ears")
    inputs = [ears.open_input(f"bayleaf:out:desk {number}") for number in range(28)]
    seen = one_client("onlooker")
    assert {"ears:in 1", "ears:in 28"} <= set(seen.outputs())
    for port in [*ports, *inputs]:
        port.close()
    until("all gone", lambda: not [name for name in seen.inputs() + seen.outputs() if re.match("bayleaf|ears", name)])
    ears.close()
    seen.close()


@pytest.mark.parametrize("size", LENGTHS)
def test_sysex_of_any_length_arrives_and_leaves_whole(
    line: tuple[InputPort, OutputPort], far: "Client", missed: Callable[[], int], size: int
) -> None:
    """From one byte to 100,000, both ways: what no period's buffer takes is spread over several and joined again."""
    message = sysex(size) if size > 3 else (b"\xf6", b"\xc1\x05", NOTE)[size - 1]
    source, output = line

    def both_ways() -> None:
        far.read(0)  # what a trial has left in which a period was missed
        source.poll()
        found: list[tuple[int, bytes]] = []
        output.send(message)

        def whole() -> bool:
            found.extend(far.read(0))
            return sum(len(piece) for _, piece in found) >= size

        until("all of it", whole)
        assert b"".join(piece for _, piece in found) == message
        assert far.send(256, message, 0)
        assert until("the message", source.poll) == [message]

    carried(missed, both_ways)


def test_too_long_a_message_is_refused(line: tuple[InputPort, OutputPort]) -> None:
    """Beyond four megabytes; the error gives both lengths."""
    with pytest.raises(PortError, match=r"at most 4194304 bytes per message; one of 4194305 was not sent"):
        line[1].send(b"\xf0" + bytes((1 << 22) - 1) + b"\xf7"[:1])


def test_an_answer_keeps_the_frame_of_what_it_answers(
    line: tuple[InputPort, OutputPort], far: "Client", missed: Callable[[], int]
) -> None:
    """What is sent on with the time at which it came arrives exactly one period after the frame at which it was
    played, wherever in its period that was."""
    source, output = line
    stamped: list[tuple[int, bytes]] = []
    assert isinstance(source, StampedInput)
    source.hand_to(stamped.extend)

    def off_by(number: int) -> float | None:
        """From the frame where it should be (ns)."""
        far.read(0)  # what a trial has left in which a period was missed
        source.poll()
        stamped.clear()
        begin = time.monotonic_ns()
        far.send(256, bytes((0x90, number, 1)), begin + round(number * PERIOD * 1e9 / 64))
        until("the note", lambda: (source.poll(), stamped)[1], LATEST)
        at, message = stamped.pop()
        late = time.monotonic_ns() > at + PERIOD * 1e9
        output.send(message, at)
        (heard_at, heard), *others = _heard(far, 1, LATEST)
        assert (heard, others) == (message, [])
        return None if late else heard_at - at - 2 * PERIOD * 1e9

    off = sorted(abs(_undisturbed(missed, partial(off_by, number))) for number in range(64))
    assert off[-8] < FRAME_NS
    assert off[-1] < PERIOD * 1e9 / 8  # the server had awoken late so far, and our count of its periods was set right


def test_a_burst_leaves_frame_by_frame(
    line: tuple[InputPort, OutputPort], far: "Client", missed: Callable[[], int]
) -> None:
    """Messages that are handed over at once, each with its time, arrive with those distances: here 0.96 ms, as a DIN
    cable would carry them, over several periods."""
    step = 960_000

    def times() -> list[int]:
        far.read(0)  # what a trial has left in which a period was missed
        begin = time.monotonic_ns()
        for number in range(40):
            line[1].send(bytes((0x90, number, 1)), begin + number * step)
        found = _heard(far, 40, LATEST)
        assert [message[1] for _, message in found] == list(range(40))
        return [at for at, _ in found]

    first, *others = _undisturbed(missed, times)
    assert max(abs(at - first - number * step) for number, at in enumerate(others, 1)) < 2 * FRAME_NS


def _closed_while_sending(near: "Client") -> list[int]:
    """Open a port, send numbered notes in a thread, and close it meanwhile; the numbers that were taken."""
    place, taken = near.open(True, "out"), list[int]()
    assert near.connect("near:out", "far:hear") == 0
    until("the connection", lambda: near.connected(place, "far:hear"))

    def send() -> None:
        with contextlib.suppress(OSError):
            while near.send(place, bytes((0x90, len(taken) % 128, 1)), 0):
                taken.append(len(taken) % 128)
                time.sleep(0.0001)  # so that no buffer runs over

    sending = threading.Thread(target=send)
    sending.start()
    until("some of them", lambda: len(taken) > 20)
    assert near.close_port(place)
    sending.join()
    with pytest.raises(OSError, match="no such port"):
        near.send(place, NOTE, 0)
    return taken


def test_what_was_taken_while_a_port_closes_arrives(jack_server: str, far: "Client", missed: Callable[[], int]) -> None:
    """A thread sends for as long as it can while another closes the port: whatever was taken arrives, in order, and
    what comes later is refused."""
    near = type(far)("near")

    def arrives() -> None:
        far.read(0)  # what a trial has left in which a period was missed
        taken = _closed_while_sending(near)
        assert [message[1] for _, message in _heard(far, len(taken), LATEST)] == taken

    for _ in range(20):
        carried(missed, arrives)
    near.close()


def test_what_is_sent_last_arrives(jack_server: str, far: "Client", missed: Callable[[], int]) -> None:
    """The last releases of a show: the port is closed, and the client leaves, at once after they were sent."""

    def arrives() -> None:
        far.read(0)  # what a trial has left in which a period was missed
        system = one_client("bayleaf")
        output = system.open_output("far:hear")
        for number in range(100):
            output.send(bytes((0x80, number, 0)))
        output.close()
        system.close()
        assert [message[1] for _, message in _heard(far, 100, LATEST)] == list(range(100))

    for _ in range(10):
        carried(missed, arrives)


def test_ports_come_and_go_while_others_play(
    system: JackPorts, line: tuple[InputPort, OutputPort], far: "Client", missed: Callable[[], int]
) -> None:
    """While notes pass through two ports, 24 inputs and 32 outputs are made, renamed and taken away.

    No note is doubled, and none is lost but in a period that the server has missed.
    """
    source, output = line
    over = threading.Event()
    problems: list[BaseException] = []

    def churn() -> None:
        try:
            while not over.is_set():
                more: list[InputPort | OutputPort] = [system.open_virtual_input(f"in {number}") for number in range(24)]
                more += [system.open_virtual_output(f"out {number}") for number in range(32)]
                place = far.open(True, "before")
                far.rename(place, "after")
                assert "far:after" in system.inputs()
                far.close_port(place)
                for port in more:
                    port.close()
        except BaseException as fault:
            problems.append(fault)

    sent, heard = [bytes((0x90, number % 128, 1 + number // 128)) for number in range(1000)], list[bytes]()

    def carry_on() -> None:
        for each in source.poll():
            output.send(each)
        heard.extend(each for _, each in far.read(0))

    def all_or_lost() -> bool:
        """What came in a period that was missed never arrives."""
        carry_on()
        return heard[-1:] == sent[-1:] or (missed() > 0 and time.monotonic() > sent_at + LATEST)

    churning = threading.Thread(target=churn)
    churning.start()
    for message in sent:
        assert far.send(256, message, time.monotonic_ns())
        time.sleep(0.002)  # at any moment of what the others do
        carry_on()
    sent_at = time.monotonic()
    until("the last note", all_or_lost)
    over.set()
    churning.join()
    assert problems == []
    assert heard == sorted(set(heard), key=sent.index)
    assert len(heard) > len(sent) // 2
    if not missed():
        assert heard == sent


def test_an_input_that_nobody_reads_is_reported(line: tuple[InputPort, OutputPort], far: "Client") -> None:
    """The ring keeps 10,922 short messages; what comes then is dropped, and reported once those were read."""
    source = line[0]
    sent = 0
    while sent < 12_000:
        sent += far.send(256, NOTE, 0)
        if sent % 500 == 0:
            time.sleep(2 * PERIOD)
    time.sleep(10 * PERIOD)  # until the last has come, though nobody reads
    heard = source.poll()
    assert len(heard) == (1 << 18) // 24
    with pytest.raises(MessagesLost, match="some may be lost"):
        source.poll()
    far.send(256, NOTE, 0)
    assert until("the next note", source.poll) == [NOTE]


def test_a_port_that_was_renamed_is_gone_and_found_again(
    system: JackPorts, line: tuple[InputPort, OutputPort], far: "Client"
) -> None:
    """Another program renames the port that we are connected to: it is another port then, for a rig knows names."""
    far.rename(256, "piano")

    def gone() -> bool:
        try:
            line[0].poll()
        except PortGone as fault:
            return "far:play" in str(fault)
        return False

    until("the news", gone)
    again = system.open_input("far:piano")
    far.send(256, NOTE, 0)
    assert until("a note", again.poll) == [NOTE]
    again.close()


def test_a_reader_that_waits_is_woken(line: tuple[InputPort, OutputPort], far: "Client") -> None:
    """By a message, by a port that goes, and by whoever rouses it; nobody has to ask again and again."""
    source = line[0]
    assert isinstance(source, AwaitedInput)
    waits = source.wait
    far.send(256, NOTE, 0)
    while not (heard := source.poll()):
        waits(30)
    assert heard == [NOTE]
    threading.Timer(0.05, source.rouse).start()
    begin = time.monotonic()
    waits(30)
    assert time.monotonic() - begin < 25
    threading.Timer(0.05, far.close_port, [256]).start()

    def gone() -> bool:
        try:
            source.poll()
        except PortGone:
            return True
        waits(30)
        return False

    until("the end of it", gone)


def test_many_openings_leave_nothing_and_crash_nothing(system: JackPorts) -> None:
    """Ports are opened and closed again and again, BAYLEAF_OPENINGS of them (otherwise 60): as many threads,
    descriptors and ports as before."""

    def held() -> tuple[int, int]:
        return len(os.listdir("/proc/self/task")), len(os.listdir("/proc/self/fd"))

    before = held()
    for number in range(int(os.environ.get("BAYLEAF_OPENINGS", "60")) // 2):
        source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")
        if number % 2:
            output.send(NOTE)
        source.close()
        output.close()
    until("as many threads and descriptors as before", lambda: held() == before)  # the library opens some for a moment
    onlooker = one_client("onlooker")
    until("all gone", lambda: not [name for name in onlooker.inputs() + onlooker.outputs() if "bayleaf" in name])
    onlooker.close()
