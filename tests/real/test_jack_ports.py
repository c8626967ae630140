"""Ports on a real JACK server; the other end is plain python-rtmidi, or missing.

What JACK and RtMidi do here was measured with JACK 1.9.21 and python-rtmidi 1.5.8; it is not documented.
"""

import contextlib
import os
import re
import time
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
import rtmidi

from engine.ports.jack_system import JackSystem
from engine.ports.port import InputPort, MessagesLost, OutputPort, PortError, PortGone
from tests.support.engine_process import hear, joined, player
from tests.support.jack_servers import SERVER
from tests.support.jack_stage import faults_wanted
from tests.support.jack_systems import BOTH, JackPorts
from tests.support.rtmidi_closing import close_safely
from tests.support.waiting import until, until_there_are

JACK = rtmidi.API_UNIX_JACK
NOTE = b"\x90\x40\x40"


@pytest.fixture(params=BOTH)
def make(jack_server: str, request: pytest.FixtureRequest) -> Callable[[str], JackPorts]:
    """How ports on JACK are made."""
    made: Callable[[str], JackPorts] = request.param
    return made


@pytest.fixture
def system(make: Callable[[str], JackPorts]) -> Iterator[JackPorts]:
    """Our ports, under the name "bayleaf"."""
    system = make("bayleaf")
    yield system
    system.close()


@pytest.fixture
def rtmidi_system(jack_server: str) -> Iterator[JackSystem]:
    """The same through python-rtmidi alone."""
    system = JackSystem("bayleaf")
    yield system
    system.close()


def test_names_hold_the_client_and_end_in_the_port(system: JackPorts, make: Callable[[str], JackPorts]) -> None:
    """Other programs see the engine's name in each virtual port, and the rig's name at its end; we do not list ours."""
    ports: list[InputPort | OutputPort] = [
        system.open_virtual_input("keys"),
        system.open_virtual_output("keys"),
        system.open_virtual_output("drums"),
    ]
    other = make("other")
    try:
        assert [name for name in other.outputs() if "bayleaf" in name and name.endswith("keys")] == [ports[0].name]
        assert [name for name in other.inputs() if "bayleaf" in name and name.endswith("keys")] == [ports[1].name]
        assert [name for name in other.inputs() if name.endswith("drums")] == [ports[2].name]
        assert not [name for name in system.inputs() + system.outputs() if "bayleaf" in name]
        heard = other.open_input("*drums")
        assert not [name for name in other.outputs() if "drums" in name]
        heard.close()
    finally:
        for port in ports:
            port.close()
        other.close()


def test_what_other_programs_play_arrives(system: JackPorts) -> None:
    """SysEx, clock, time code and active sensing arrive like notes: nothing is filtered on the way in."""
    played = [NOTE, b"\xf0\x7d\x01\xf7", b"\xf8", b"\xf1\x23", b"\xfe", b"\xc3\x07", b"\x80\x40\x00"]
    ours = system.open_virtual_input("keys")
    heard: list[bytes] = []
    with joined(rtmidi.MidiOut, JACK, "stand", lambda name: name.endswith(":keys")) as port:
        for message in played:
            port.send_message(message)
        until_there_are(len(played), heard, ours.poll)
    ours.close()
    assert heard == played


def test_what_we_play_arrives(rtmidi_system: JackSystem) -> None:
    """The longest message and short ones arrive whole and in order at a program that connected to our port."""
    longest = b"\xf0" + bytes(9_998) + b"\xf7"
    ours = rtmidi_system.open_virtual_output("strings")
    with joined(rtmidi.MidiIn, JACK, "ear", lambda name: name.endswith(":strings")) as port:
        assert ours.longest == len(longest)
        ours.send(longest)
        assert hear(port, 1) == [longest]
        for number in range(100):
            ours.send(bytes((0xB0, 7, number)))
        assert hear(port, 100) == [bytes((0xB0, 7, number)) for number in range(100)]
    ours.close()


def test_too_long_a_message_is_refused(rtmidi_system: JackSystem) -> None:
    """A SysEx that JACK would lose silently is refused, and the error gives both lengths."""
    ours = rtmidi_system.open_virtual_output("strings")
    with pytest.raises(PortError, match=r"at most 10000 bytes per message; one of 10001 was not sent"):
        ours.send(b"\xf0" + bytes(9_999) + b"\xf7")
    ours.close()


def test_more_than_the_driver_takes_is_refused(system: JackPorts) -> None:
    """Endless sending is refused in time, and all that was accepted arrives."""
    other = JackSystem("ear")
    ours = system.open_virtual_output("strings")
    port = other.open_input("*:strings")
    heard: list[bytes] = []
    sent = 0
    refusal = ""
    while not refusal:
        try:
            ours.send(NOTE)
            sent += 1
        except PortError as fault:
            refusal = str(fault)
        if sent % 500 == 0:
            heard += port.poll()  # the other end keeps 8,191 messages, and a starved sender takes long
    until_there_are(sent, heard, port.poll)
    for end in (port, ours, other):
        end.close()
    assert "is full" in refusal
    assert heard == [NOTE] * sent


def test_patterns_are_resolved_or_reported(system: JackPorts) -> None:
    """A pattern for several ports, or for none, gives an error with the candidates; one port is opened and played."""
    with player(JACK, "Stage piano"), player(JACK, "Stage organ"):
        until("both ports", lambda: len(system.inputs()) >= 2)
        with pytest.raises(PortError, match=r"Stage piano:out.*Stage organ:out"):
            system.open_input("stage*")
        with pytest.raises(PortError, match=r"(?s)no port matches.*Stage piano:out"):
            system.open_input("Grand*")
        port = system.open_input("stage P*")
        assert port.name == "Stage piano:out"
        port.close()


def test_an_unplugged_port_says_so(system: JackPorts) -> None:
    """What came before the cable was pulled is still read; then the port reports that it is gone."""
    heard: list[bytes] = []
    with player(JACK, "Stage piano") as piano:
        port = system.open_input("Stage piano*")
        piano.send_message(NOTE)
        until_there_are(1, heard, port.poll)
    with pytest.raises(PortError, match='"Stage piano:out" was unplugged'):
        until("the news", lambda: heard.extend(port.poll()))
    port.close()
    assert heard == [NOTE]


def test_a_queue_that_runs_over_is_reported(rtmidi_system: JackSystem) -> None:
    """RtMidi keeps 8,191 messages of an input that nobody polls, and drops the rest."""
    with player(JACK, "Stage piano") as piano:
        port = rtmidi_system.open_input("Stage piano*")
        until("a note", lambda: (piano.send_message(NOTE), port.poll())[1])
        for _ in range(90):
            for _ in range(100):
                piano.send_message(NOTE)
            time.sleep(0.012)  # a period, so that the ring of the sender never fills
        heard = port.poll()
        assert len(heard) == 8191
        with pytest.raises(MessagesLost, match="its queue of 8,191 messages"):
            port.poll()
        until("the queue empty", lambda: not port.poll())
        piano.send_message(NOTE)
        assert until("the next note", port.poll) == [NOTE]
        port.close()


def _clients() -> set[str]:
    """The server's clients: JACK 1.9 on Linux keeps one semaphore for each in shared memory."""
    return {path.name for path in Path("/dev/shm").glob(f"jack_sem.*_{SERVER}_*")}


def _everything_held() -> tuple[tuple[int, int], set[str]]:
    return _held(), _clients()


def test_looking_for_a_missing_port_leaks_nothing(system: JackPorts) -> None:
    """A thousand failed openings and readings of the lists leave no client, no thread and no descriptor."""
    before = _everything_held()
    assert len(before[1]) > 2, "the count of clients must count ours"
    for _ in range(1000):
        for attempt in (system.open_input, system.open_output):
            with pytest.raises(PortError, match="no port matches"):
                attempt("Grand piano*")
        system.refresh()
        assert system.inputs() == system.outputs() == []
    assert _everything_held() == before


@contextlib.contextmanager
def far_ends() -> Iterator[tuple[rtmidi.MidiOut, rtmidi.MidiIn]]:
    """Another program's two ports: one to receive on, one to play from."""
    box = rtmidi.MidiIn(JACK, name="Eight-way box")
    box.open_virtual_port("in")
    try:
        with player(JACK, "Stage piano") as piano:
            yield piano, box
    finally:
        close_safely(box)


def _join_far_ends(system: JackPorts) -> tuple[InputPort, OutputPort]:
    return system.open_input("Stage piano*:out"), system.open_output("Eight-way box*:in")


def _carry(system: JackPorts, piano: rtmidi.MidiOut, box: rtmidi.MidiIn, source: InputPort, output: OutputPort) -> None:
    """A note goes each way; JACK may show a connection before it carries, so it is played until it arrives."""

    def ours_comes() -> object:
        output.send(NOTE)
        return box.get_message()

    until("our note", ours_comes)
    until("their note", lambda: (piano.send_message(NOTE), source.poll())[1])


def _never(use: Callable[[], object]) -> None:
    """Use it for ever: only an exception ends the waiting."""
    use()


def _says_it_is_gone(source: InputPort, output: OutputPort) -> None:
    uses: tuple[Callable[[], object], ...] = (source.poll, output.check, partial(output.send, NOTE))
    for use in uses * 3:
        with pytest.raises(PortGone, match="was unplugged"):
            until("the news", partial(_never, use))  # what came before is still read


def test_a_port_that_returns_is_opened_and_heard(system: JackPorts) -> None:
    """Again and again the other program's ports vanish and return under their names: each time the old ports raise,
    even if they were not checked meanwhile, new ones carry messages, and nothing leaks."""
    held = []
    with far_ends() as ends:
        source, output = _join_far_ends(system)
        _carry(system, *ends, source, output)
    times = faults_wanted(quick=True)
    for number in range(times):
        if number % 2:
            _says_it_is_gone(source, output)
        with far_ends() as ends:
            _says_it_is_gone(source, output)
            source.close()
            output.close()
            source, output = _join_far_ends(system)
            _carry(system, *ends, source, output)
            held.append(_everything_held())
    _says_it_is_gone(source, output)
    source.close()
    output.close()
    assert held == held[:1] * times


def test_a_cable_pulled_inside_a_sysex_leaves_no_deaf_input(system: JackPorts) -> None:
    """The first note from the next cable arrives, though the last SysEx never ended and RtMidi would continue it."""
    with player(JACK, "Stage piano") as piano:
        source = system.open_input("Stage piano*:out")
        until("their note", lambda: (piano.send_message(NOTE), source.poll())[1])
        piano.send_message(b"\xf0\x7d\x01\x02")
        time.sleep(0.05)  # it has surely arrived: the cable is pulled within the SysEx
        source.poll()
    with pytest.raises(PortGone):
        until("the news", lambda: source.poll() and False)
    source.close()
    with player(JACK, "Stage piano") as piano:
        source = system.open_input("Stage piano*:out")
        assert until("their note", lambda: (piano.send_message(NOTE), source.poll())[1])[0] == NOTE
        source.close()


def test_its_clients_are_called_as_the_handbook_says(rtmidi_system: JackSystem) -> None:
    """NAME-in and NAME-out, one for each port; beside them NAME-watch and NAME-flush. JACK numbers equal names."""
    rtmidi_system.prepare(2, 3)
    ours = [name.partition(f"_{SERVER}_")[2] for name in _clients() if f"_{SERVER}_bayleaf-" in name]
    assert Counter(re.sub(r"-\d+$", "", name) for name in ours) == {
        "bayleaf-in": 2,
        "bayleaf-out": 3,
        "bayleaf-watch": 1,
        "bayleaf-flush": 1,
    }


def test_ends_made_ahead_serve_what_is_plugged_in_later(rtmidi_system: JackSystem) -> None:
    """Once missing ports were prepared for, plugging them in makes no client; pulled ends are connected to nothing, and
    stay unlisted."""
    rtmidi_system.prepare(1, 1)
    before = _clients()
    with far_ends() as (piano, box):
        theirs = _clients() - before
        source, output = _join_far_ends(rtmidi_system)
        _carry(rtmidi_system, piano, box, source, output)
        assert _clients() - before == theirs
        source.close()
        output.close()
        rtmidi_system.prepare(1, 1)
        assert _clients() - before == theirs
        with joined(rtmidi.MidiIn, JACK, "ear", lambda name: name == "Stage piano:out"):
            listed = rtmidi_system.inputs() + rtmidi_system.outputs()
        assert [name for name in listed if "bayleaf" in name] == []
        piano.send_message(NOTE)
        source, output = _join_far_ends(rtmidi_system)
        assert source.poll() == []  # what was played while it was closed does not arrive
        source.close()
        output.close()


def test_closed_ports_are_inert(system: JackPorts) -> None:
    """Closing again does nothing, a closed input brings nothing, a closed output refuses."""
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")
    for port in (source, output, source, output):
        port.close()
    assert source.poll() == []
    with pytest.raises(PortError, match="is closed"):
        output.send(NOTE)


def _held() -> tuple[int, int]:
    """This process's threads and file descriptors."""
    return len(os.listdir("/proc/self/task")), len(os.listdir("/proc/self/fd"))


def test_opening_and_closing_leaks_nothing(system: JackPorts, make: Callable[[str], JackPorts]) -> None:
    """After 60 ports have come and gone there are as many threads, descriptors and ports as before."""

    def one_round() -> None:
        ports: list[InputPort | OutputPort] = [
            system.open_virtual_input("keys"),
            system.open_virtual_output("strings"),
        ]
        for port in ports:
            port.close()

    one_round()
    before = _held()
    for _ in range(30):
        one_round()
    until("the threads' end", lambda: _held() <= before)
    other = make("onlooker")
    left = [name for name in other.inputs() + other.outputs() if "bayleaf" in name]
    other.close()
    assert not left


def test_no_server_is_reported(
    make: Callable[[str], JackPorts], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Without a server the player reads one sentence with a remedy, and nothing from the driver."""
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "bayleaf-nobody")
    with pytest.raises(PortError, match="the JACK server is not running; start it, or use --backend alsa"):
        make("bayleaf")
    captured = capfd.readouterr()
    assert captured.out + captured.err == ""
