"""Ports on a real ALSA sequencer; test_alsa_guest.py runs this where there is one.

The other end is plain python-rtmidi, or a raw MIDI device node: each of the card's four ports is both a sequencer port
and a node /dev/snd/midiC0D*. What Linux and RtMidi do here was measured; nothing written promises it.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import rtmidi
from conformance import CHECKS, Line, broken_sysex_is_repaired
from lines import system_line
from stagehand import hear, joined, wait_for

from engine.ports.bytedevice import open_device_input, open_device_output
from engine.ports.port import InputPort, OutputPort, PortError
from engine.ports.system import System

ALSA = rtmidi.API_LINUX_ALSA
SLOW = 30.0  # seconds: the guest is emulated
NOTE = b"\x90\x40\x40"
MIXED = [NOTE, b"\xf0\x7d\x01\xf7", b"\xf8", b"\xf1\x23", b"\xfe", b"\xc3\x07", b"\xe2\x01\x40", b"\x80\x40\x00"]
LONGEST = b"\xf0" + bytes(number % 128 for number in range(4094)) + b"\xf7"


@pytest.fixture
def system() -> Iterator[System]:
    """Our ports, under the name "bayleaf"."""
    system = System("alsa", "bayleaf")
    yield system
    system.close()


def read(port: InputPort, count: int) -> list[bytes]:
    """Read until so many messages came."""
    heard: list[bytes] = []
    wait_for(f"{count} messages", lambda: heard.extend(port.poll()) or len(heard) >= count, SLOW)
    return heard


def close_all(*ports: InputPort | OutputPort | System) -> None:
    """Close these in this order."""
    for port in ports:
        port.close()


def test_names_hold_the_client_and_end_in_the_port(system: System) -> None:
    """Other programs see the engine's name, the rig's name at the end, then ALSA's numbers; we leave ours out."""
    ports = [system.open_virtual_input("keys"), system.open_virtual_output("keys"), system.open_virtual_output("drums")]
    other = System("alsa", "other")
    assert [name.rsplit(" ", 1)[0] for name in other.outputs() if "bayleaf" in name] == ["bayleaf:keys"]
    assert [name.rsplit(" ", 1)[0] for name in other.inputs() if "bayleaf" in name] == ["bayleaf:keys", "bayleaf:drums"]
    assert not [name for name in system.inputs() + system.outputs() if "bayleaf" in name]
    close_all(*ports, other)


def test_what_other_programs_play_arrives(system: System) -> None:
    """SysEx, clock, time code and active sensing arrive like notes: nothing is filtered on the way in."""
    ours = system.open_virtual_input("keys")
    with joined(rtmidi.MidiOut, ALSA, "stand", lambda name: name.startswith("bayleaf:keys ")) as port:
        for message in MIXED:
            port.send_message(message)
        assert read(ours, len(MIXED)) == MIXED
    ours.close()


def test_what_we_play_arrives(system: System) -> None:
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


def test_too_long_a_message_is_refused(system: System) -> None:
    """A SysEx that a device would get in part only is refused, and told with both lengths."""
    ours = system.open_virtual_output("strings")
    with pytest.raises(PortError, match=r"at most 4096 bytes a message, not 4097"):
        ours.send(b"\xf0" + bytes(4095) + b"\xf7")
    ours.close()


def test_to_a_raw_device(system: System) -> None:
    """What we play to a sequencer port is on its card's wire, byte for byte, the longest message included."""
    port = system.open_output("*VirMIDI 0-0")
    device = open_device_input("/dev/snd/midiC0D0")
    device.poll()  # the card listens from the first read on
    for message in (*MIXED, LONGEST):
        wait_for("room", lambda message=message: _sent(port, message), SLOW)
        assert read(device, 1) == [message]
    close_all(port, device)


def _sent(port: OutputPort, message: bytes) -> bool:
    """The longest message is refused until the driver has surely taken what went before it."""
    try:
        port.send(message)
    except PortError:
        return False
    return True


def test_from_a_raw_device(system: System) -> None:
    """What comes in on a card's wire is read from its sequencer port, message by message."""
    port = system.open_input("*VirMIDI 0-1")
    device = open_device_output("/dev/snd/midiC0D1")
    for message in MIXED:
        device.send(message)
    assert read(port, len(MIXED)) == MIXED
    close_all(port, device)


def test_patterns_are_resolved_or_told(system: System) -> None:
    """A pattern for several ports, or for none, is told with the candidates."""
    with pytest.raises(PortError, match=r"VirMIDI 0-0.*VirMIDI 0-3"):
        system.open_output("virtual raw midi*")
    with pytest.raises(PortError, match=r"no port matches.*VirMIDI 0-0"):
        system.open_output("Grand*")


def test_an_unplugged_port_says_so(system: System) -> None:
    """A port whose program ended says that it is gone, as an input and as an output."""
    other = System("alsa", "Stage piano")
    theirs = other.open_virtual_output("out"), other.open_virtual_input("in")
    source, output = system.open_input("Stage piano:out"), system.open_output("Stage piano:in")
    close_all(*theirs, other)
    with pytest.raises(PortError, match=r'"Stage piano:out .*" was unplugged'):
        wait_for("the news", source.poll, SLOW)
    with pytest.raises(PortError, match=r'"Stage piano:in .*" was unplugged'):
        wait_for("the news", lambda: output.send(b"\xfe"), SLOW)
    close_all(source, output)


def test_more_inputs_than_alsa_has_room_for(system: System) -> None:
    """The 29th input is refused with the reason; the others go on."""
    ports = [system.open_virtual_input(f"in{number}") for number in range(28)]
    with pytest.raises(PortError, match="no room for more than 28 inputs"):
        system.open_virtual_input("one too many")
    ports[0].close()
    ports[0] = system.open_virtual_input("again")
    close_all(*ports)


def test_opening_and_closing_leaks_nothing(system: System) -> None:
    """After 60 ports have come and gone there are as many threads and descriptors as before."""

    def held() -> tuple[int, int]:
        return len(os.listdir("/proc/self/task")), len(os.listdir("/proc/self/fd"))

    def one_round() -> None:
        close_all(system.open_virtual_input("keys"), system.open_virtual_output("strings"))

    one_round()
    before = held()
    for _ in range(30):
        one_round()
    wait_for("the threads' end", lambda: held() <= before, SLOW)


#: python-rtmidi on ALSA refuses to play a broken message: the test after this one plays it from a raw device
PLAYABLE = [check for check in CHECKS if check is not broken_sysex_is_repaired]


@contextmanager
def sequencer() -> Iterator[Line]:
    """Ports of our own on the sequencer, joined from outside."""
    with system_line("alsa", ALSA, carries=4096, patience=SLOW) as line:
        yield line


@contextmanager
def raw_device() -> Iterator[Line]:
    """Raw MIDI nodes through the byte-device port; the other ends are their sequencer twins through python-rtmidi."""
    source, output = open_device_input("/dev/snd/midiC0D2"), open_device_output("/dev/snd/midiC0D3")
    source.poll()  # the card listens from the first read on
    with (
        joined(rtmidi.MidiOut, ALSA, "stand", lambda name: "VirMIDI 0-2" in name) as stand,
        joined(rtmidi.MidiIn, ALSA, "ear", lambda name: "VirMIDI 0-3" in name) as ear,
    ):

        def heard() -> bytes:
            data = b""
            while (event := ear.get_message()) is not None:
                data += bytes(event[0])
            return data

        yield Line(source, output, stand.send_message, heard, carries=4096, hears=4096, patience=SLOW)
    close_all(source, output)


@pytest.mark.parametrize("kind", [sequencer, raw_device], ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("check", PLAYABLE, ids=lambda check: check.__name__)
def test_conformance(kind: Callable[[], Iterator[Line]], check: Callable[[Line], None]) -> None:
    """A port on ALSA, and a raw MIDI device, does what conformance.py says."""
    with kind() as line:
        check(line)


def test_a_broken_sysex_swallows_no_notes(system: System) -> None:
    """A SysEx that never ends on a card's wire does not swallow the notes after it (MIDI 1.0 p. 29)."""
    port = system.open_input("*VirMIDI 0-1")
    wire = os.open("/dev/snd/midiC0D1", os.O_WRONLY)
    os.write(wire, bytes.fromhex("F0 7D 01 90 3C 40 80 3C 40 F7"))
    assert read(port, 2) == [b"\x90\x3c\x40", b"\x80\x3c\x40"]
    os.close(wire)
    port.close()
