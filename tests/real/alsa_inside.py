"""Ports on a real ALSA sequencer; test_alsa_guest.py runs this where there is one.

The other end is plain python-rtmidi, or a raw MIDI device node: each of the card's four ports is both a sequencer port
and a node /dev/snd/midiC0D*. What Linux and RtMidi do here was measured; it is not documented.
"""

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path

import pytest
import rtmidi

from engine.ports.byte_device import open_device_input, open_device_output
from engine.ports.open_system import open_system
from engine.ports.port import InputPort, OutputPort, PortError, PortGone
from engine.ports.port_names import resolve
from engine.ports.rtmidi_system import RtmidiSystem
from engine.rig.read.load import load
from tests.support.engine_process import hear, joined
from tests.support.paths import BAYLEAF
from tests.support.port_conformance import CHECKS, Line, broken_sysex_is_repaired
from tests.support.rtmidi_lines import hearing, joined_line, system_line
from tests.support.waiting import until, until_there_are

ALSA = rtmidi.API_LINUX_ALSA
SLOW = 30.0  # seconds: the guest is emulated
NOTE = b"\x90\x40\x40"
MIXED = [NOTE, b"\xf0\x7d\x01\xf7", b"\xf8", b"\xf1\x23", b"\xfe", b"\xc3\x07", b"\xe2\x01\x40", b"\x80\x40\x00"]
CARD = Path("/sys/bus/platform/drivers/snd_virmidi")
LONGEST = b"\xf0" + bytes(number % 128 for number in range(4094)) + b"\xf7"


@pytest.fixture
def system() -> Iterator[RtmidiSystem]:
    """Our ports, under the name "bayleaf"."""
    system = RtmidiSystem("alsa", "bayleaf")
    yield system
    system.close()


def read(port: InputPort, count: int) -> list[bytes]:
    """Read until `count` messages have arrived."""
    heard: list[bytes] = []
    until_there_are(count, heard, port.poll, within=SLOW)
    return heard


def close_all(*ports: InputPort | OutputPort | RtmidiSystem) -> None:
    """Close these in this order."""
    for port in ports:
        port.close()


def test_names_hold_the_client_and_end_in_the_port(system: RtmidiSystem) -> None:
    """Other programs see the engine's name, then the rig's name, then ALSA's numbers; our own lists leave ours out."""
    ports: list[InputPort | OutputPort] = [
        system.open_virtual_input("keys"),
        system.open_virtual_output("keys"),
        system.open_virtual_output("drums"),
    ]
    other = RtmidiSystem("alsa", "other")
    assert [name.rsplit(" ", 1)[0] for name in other.outputs() if "bayleaf" in name] == ["bayleaf:keys"]
    assert [name.rsplit(" ", 1)[0] for name in other.inputs() if "bayleaf" in name] == ["bayleaf:keys", "bayleaf:drums"]
    assert not [name for name in system.inputs() + system.outputs() if "bayleaf" in name]
    close_all(*ports, other)


def test_each_input_can_be_watched(system: RtmidiSystem) -> None:
    """RtMidi opens the sequencer once for each input, and nothing else does meanwhile: its descriptor is known."""
    ours = [system.open_virtual_input(name) for name in ("keys", "pads")]
    joined_to = system.open_input("*VirMIDI 0-1")
    found = [port.descriptors for port in (*ours, joined_to)]
    assert [len(each) for each in found] == [1, 1, 1]
    assert len({*found}) == 3
    assert {os.readlink(f"/proc/self/fd/{descriptor}") for (descriptor,) in found} == {"/dev/snd/seq"}
    close_all(*ours, joined_to)


def test_what_other_programs_play_arrives(system: RtmidiSystem) -> None:
    """SysEx, clock, time code and active sensing arrive like notes: nothing is filtered on the way in."""
    ours = system.open_virtual_input("keys")
    with joined(rtmidi.MidiOut, ALSA, "stand", lambda name: name.startswith("bayleaf:keys ")) as port:
        for message in MIXED:
            port.send_message(message)
        assert read(ours, len(MIXED)) == MIXED
    ours.close()


def test_what_we_play_arrives(system: RtmidiSystem) -> None:
    """The longest message, and as many short ones as may go at once, arrive whole and in order."""
    ours = system.open_virtual_output("strings")
    with joined(rtmidi.MidiIn, ALSA, "ear", lambda name: name.startswith("bayleaf:strings ")) as port:
        assert ours.longest == len(LONGEST)
        ours.send(LONGEST)
        assert hear(port, 1, SLOW) == [LONGEST]
        assert ours.flow is not None
        burst = [bytes((0xB0, 7, number % 128)) for number in range(ours.flow.ahead // (3 + ours.flow.overhead))]
        for message in burst:
            ours.send(message)
        assert hear(port, len(burst), SLOW) == burst
    ours.close()


def test_too_long_a_message_is_refused(system: RtmidiSystem) -> None:
    """A SysEx of which a device would get only a part is refused, and the error gives both lengths."""
    ours = system.open_virtual_output("strings")
    with pytest.raises(PortError, match=r"at most 4096 bytes per message; one of 4097 was not sent"):
        ours.send(b"\xf0" + bytes(4095) + b"\xf7")
    ours.close()


def test_to_a_raw_device(system: RtmidiSystem) -> None:
    """What we play to a sequencer port goes out on its card's cable byte by byte, even the longest message."""
    port = system.open_output("*VirMIDI 0-0")
    device = open_device_input("/dev/snd/midiC0D0")
    device.poll()  # the card listens from the first read on
    for message in (*MIXED, LONGEST):
        until("room", partial(_sent, port, message), SLOW)
        assert read(device, 1) == [message]
    close_all(port, device)


def _sent(port: OutputPort, message: bytes) -> bool:
    """Whether it was sent: the longest message is refused until the driver has taken all that went before it."""
    try:
        port.send(message)
    except PortError:
        return False
    return True


def test_from_a_raw_device(system: RtmidiSystem) -> None:
    """What comes in on a card's cable is read from its sequencer port, message by message."""
    port = system.open_input("*VirMIDI 0-1")
    device = open_device_output("/dev/snd/midiC0D1")
    for message in MIXED:
        device.send(message)
    assert read(port, len(MIXED)) == MIXED
    close_all(port, device)


def test_patterns_are_resolved_or_reported(system: RtmidiSystem) -> None:
    """A pattern that matches several ports, or none, gives an error with the candidates."""
    with pytest.raises(PortError, match=r"VirMIDI 0-0.*VirMIDI 0-3"):
        system.open_output("virtual raw midi*")
    with pytest.raises(PortError, match=r"no port matches.*VirMIDI 0-0"):
        system.open_output("Grand*")


def test_a_first_rig_has_the_names_of_the_card(system: RtmidiSystem, tmp_path: Path) -> None:
    """`bayleaf new` names each port after the card without the sequencer's numbers, and its patterns find the ports."""
    file = tmp_path / "first.toml"
    done = subprocess.run([BAYLEAF, "new", file], capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stderr) == (0, "asking at 4 outputs which device is there …\n"), done.stderr
    rig = load(file)
    assert list(rig.inputs) == list(rig.outputs) == [f"virmidi-{number}" for number in range(4)]
    for number, port in enumerate(rig.inputs.values()):
        assert f":VirMIDI 0-{number} " in resolve(str(port.port), system.inputs())


def test_an_unplugged_port_says_so(system: RtmidiSystem) -> None:
    """A port whose program ended reports that it is gone, as an input and as an output."""
    other = RtmidiSystem("alsa", "Stage piano")
    theirs = other.open_virtual_output("out"), other.open_virtual_input("in")
    source, output = system.open_input("Stage piano:out"), system.open_output("Stage piano:in")
    close_all(*theirs, other)
    with pytest.raises(PortError, match=r'"Stage piano:out .*" was unplugged'):
        until("the news", source.poll, SLOW)
    with pytest.raises(PortError, match=r'"Stage piano:in .*" was unplugged'):
        until("the news", lambda: output.send(b"\xfe"), SLOW)
    close_all(source, output)


def _never(use: Callable[[], object]) -> None:
    """Use it for ever: only an exception ends the waiting."""
    use()


def _uses(port: InputPort | OutputPort) -> list[Callable[[], object]]:
    """All the calls that use a port."""
    return [port.poll] if hasattr(port, "poll") else [port.check, partial(port.send, NOTE)]


def says_it_is_gone(*ports: InputPort | OutputPort) -> None:
    """Each of them raises three times, once what had arrived was read."""
    for port in ports:
        for use in _uses(port) * 3:
            with pytest.raises(PortGone, match=r"was unplugged|is gone"):
                until("the news", partial(_never, use), SLOW)


def test_a_card_that_is_pulled_and_put_back(system: RtmidiSystem) -> None:
    """A card that is removed from the kernel while its ports are in use is gone for raw devices and sequencer ports, in
    and out; put back, all of them open and carry messages, and nothing leaks.

    This is how the kernel removes a USB device: the driver releases the card, which ends with its last user. Only
    then does this driver remove its sequencer ports.
    """
    held = []
    for _ in range(3):
        source, output = system.open_input("*VirMIDI 0-1"), system.open_output("*VirMIDI 0-0")
        wire_in, wire_out = open_device_input("/dev/snd/midiC0D0"), open_device_output("/dev/snd/midiC0D1")
        wire_in.poll()  # the card listens from the first read on
        output.send(NOTE)
        wire_out.send(NOTE)
        assert (read(wire_in, 1), read(source, 1)) == ([NOTE], [NOTE])
        held.append(_held())
        with subprocess.Popen(["/bin/sh", "-c", f"echo snd_virmidi.0 > {CARD}/unbind"]) as pulling:
            try:
                says_it_is_gone(wire_in, wire_out)
            finally:
                close_all(wire_in, wire_out)  # it would wait for them for ever
        assert pulling.returncode == 0
        says_it_is_gone(source, output)
        for attempt, error in ((system.open_input, "no port matches"), (open_device_input, "there is no such device")):
            with pytest.raises(PortError, match=error):
                attempt("/dev/snd/midiC0D0")
        close_all(source, output)
        (CARD / "bind").write_text("snd_virmidi.0")
        until("the card", lambda: len([name for name in system.outputs() if "VirMIDI 0-" in name]) == 4, SLOW)
    assert held == held[:1] * 3


def test_a_port_that_returns_between_two_looks(system: RtmidiSystem) -> None:
    """A program that ends and starts again at once has ports with the same names and numbers; ours notice that they are
    not connected to them, raise, and open again."""
    other = RtmidiSystem("alsa", "Stage piano")
    theirs = other.open_virtual_output("out"), other.open_virtual_input("in")
    for _ in range(10):
        source, output = system.open_input("Stage piano:out"), system.open_output("Stage piano:in")
        theirs[0].send(NOTE)
        output.send(NOTE)
        assert (read(source, 1), read(theirs[1], 1)) == ([NOTE], [NOTE])
        close_all(*theirs)
        theirs = other.open_virtual_output("out"), other.open_virtual_input("in")
        assert source.name in system.inputs()
        assert output.name in system.outputs()
        says_it_is_gone(source, output)
        close_all(source, output)
    close_all(*theirs, other)


def test_looking_for_a_missing_port_leaks_nothing(system: RtmidiSystem) -> None:
    """Three hundred failed openings leave no thread, no descriptor and no client on the sequencer."""
    clients = Path("/proc/asound/seq/clients")
    before = _held(), clients.read_text()
    for _ in range(300):
        for attempt in (system.open_input, system.open_output):
            with pytest.raises(PortError, match="no port matches"):
                attempt("Grand piano*")
        system.refresh()
    assert (_held(), clients.read_text()) == before


def test_more_inputs_than_alsa_has_room_for(system: RtmidiSystem) -> None:
    """The 29th input is refused with the reason; the others keep working."""
    ports: list[InputPort | OutputPort] = [system.open_virtual_input(f"in{number}") for number in range(28)]
    with pytest.raises(PortError, match="room for at most 28 inputs per program"):
        system.open_virtual_input("one too many")
    ports[0].close()
    ports[0] = system.open_virtual_input("again")
    close_all(*ports)


def _held() -> tuple[int, int]:
    return len(os.listdir("/proc/self/task")), len(os.listdir("/proc/self/fd"))


def test_opening_and_closing_leaks_nothing(system: RtmidiSystem) -> None:
    """After 60 ports have come and gone there are as many threads and descriptors as before."""

    def one_round() -> None:
        close_all(system.open_virtual_input("keys"), system.open_virtual_output("strings"))

    one_round()
    before = _held()
    for _ in range(30):
        one_round()
    until("the threads' end", lambda: _held() <= before, SLOW)


#: python-rtmidi on ALSA refuses to play a broken message: the test after this one plays it from a raw device
PLAYABLE = [check for check in CHECKS if check is not broken_sysex_is_repaired]

#: The other ends lose what comes while more than 200 messages (the kernel's default for a program) wait to be read.
UNREAD = 150


@contextmanager
def sequencer() -> Iterator[Line]:
    """Ports of our own on the sequencer, connected from outside."""
    with system_line(partial(open_system, "alsa"), ALSA, carries=4096, holds=UNREAD, patience=SLOW) as line:
        yield line


@contextmanager
def joined_sequencer() -> Iterator[Line]:
    """Ports of another program on the sequencer, to which ours connect."""
    with joined_line(partial(open_system, "alsa"), ALSA, carries=4096, holds=UNREAD, patience=SLOW) as line:
        yield line


@contextmanager
def raw_device() -> Iterator[Line]:
    """Raw MIDI nodes through the byte-device port; the other ends are their sequencer twins through python-rtmidi."""
    source, output = open_device_input("/dev/snd/midiC0D2"), open_device_output("/dev/snd/midiC0D3")
    source.poll()  # the card listens from the first read on
    with (
        joined(rtmidi.MidiOut, ALSA, "stand", lambda name: "VirMIDI 0-2" in name) as stand,
        joined(rtmidi.MidiIn, ALSA, "ear", lambda name: "VirMIDI 0-3" in name) as listener,
    ):
        heard = hearing(listener)
        yield Line(source, output, stand.send_message, heard, carries=4096, hears=4096, holds=UNREAD, patience=SLOW)
    close_all(source, output)


@pytest.mark.parametrize("kind", [sequencer, joined_sequencer, raw_device], ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("check", PLAYABLE, ids=lambda check: check.__name__)
def test_conformance(kind: Callable[[], AbstractContextManager[Line]], check: Callable[[Line], None]) -> None:
    """A port on ALSA, and a raw MIDI device, passes the conformance suite."""
    with kind() as line:
        check(line)


def test_a_broken_sysex_swallows_no_notes(system: RtmidiSystem) -> None:
    """A SysEx that never ends on a card's cable does not swallow the notes after it (MIDI 1.0 p. 29)."""
    port = system.open_input("*VirMIDI 0-1")
    cable = os.open("/dev/snd/midiC0D1", os.O_WRONLY)
    os.write(cable, bytes.fromhex("F0 7D 01 90 3C 40 80 3C 40 F7"))
    assert read(port, 2) == [b"\x90\x3c\x40", b"\x80\x3c\x40"]
    os.close(cable)
    port.close()
