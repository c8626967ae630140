"""Ports in memory and the ports' front door. (Our own design.)"""

import sys

import pytest

from engine.ports.memory import MemorySystem
from engine.ports.open import open_system
from engine.ports.port import PortError

NOTE = b"\x90\x3c\x40"


@pytest.fixture
def system() -> MemorySystem:
    """A keyboard and a synth."""
    return MemorySystem("pit", ("Stage piano",), ("Box 1",))


def test_ports_are_reached_by_name(system: MemorySystem) -> None:
    """What is pushed by name is polled from the port that a pattern opened; what is sent is read by name."""
    source, output = system.open_input("stage*"), system.open_output("box*")
    system.input("Stage piano").push(NOTE)
    assert source.poll() == [NOTE]
    assert source.poll() == []
    output.send(NOTE)
    assert [message for _, message in system.output("Box 1").sent] == [NOTE]


def test_ports_of_our_own(system: MemorySystem) -> None:
    """Ports of our own carry the client's name, end in theirs, are reached by it, and are left out of the lists."""
    source, output = system.open_virtual_input("keys"), system.open_virtual_output("strings")
    assert (source.name, output.name) == ("pit:keys", "pit:strings")
    assert (system.inputs(), system.outputs()) == (["Stage piano"], ["Box 1"])
    assert (system.input("keys"), system.output("strings")) == (source, output)


def test_an_unplugged_port_says_so(system: MemorySystem) -> None:
    """After the cable is pulled, reading and sending raise PortError with the port's name."""
    source, output = system.open_input("*"), system.open_output("*")
    source.unplug()
    output.unplug()
    with pytest.raises(PortError, match='"Stage piano" was unplugged'):
        source.poll()
    with pytest.raises(PortError, match='"Box 1" was unplugged'):
        output.send(NOTE)


def test_a_closed_port_opens_again(system: MemorySystem) -> None:
    """A port that was closed hears nothing, and opened again works as new."""
    system.open_input("*").close()
    system.open_output("*").close()
    system.input("Stage piano").push(NOTE)
    source, output = system.open_input("*"), system.open_output("*")
    assert source.poll() == []
    system.input("Stage piano").push(NOTE)
    output.send(NOTE)
    assert source.poll() == [NOTE]
    assert len(system.output("Box 1").sent) == 1


def test_no_such_port(system: MemorySystem) -> None:
    """A pattern that means nothing is refused with the candidates."""
    with pytest.raises(PortError, match=r'no port matches "Grand.*Stage piano'):
        system.open_input("Grand*")


def test_memory_needs_no_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """The memory backend opens where python-rtmidi cannot be loaded."""
    monkeypatch.setitem(sys.modules, "rtmidi", None)
    assert open_system("memory", "pit").inputs() == []


def test_an_unknown_backend_is_told() -> None:
    """An unknown backend is refused with the ones there are."""
    with pytest.raises(PortError, match='no backend "telegraph"; there are alsa, jack, coremidi, winmm, memory'):
        open_system("telegraph", "pit")
