"""Ports in memory, and how ports are opened. (Our own design.)"""

import itertools
import sys
from collections.abc import Callable

import pytest

from engine.ports.memory import MemorySystem
from engine.ports.open_system import open_system
from engine.ports.port import PortError, PortGone

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
    """Ports of our own start with the client's name, end in theirs, are reached by it, and are not in the lists."""
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


def test_a_cable_is_pulled_and_put_back(system: MemorySystem) -> None:
    """A port whose cable is pulled leaves the lists; put back, it opens as a new port, and the old one stays gone."""
    for _ in range(3):
        source, output = system.open_input("*"), system.open_output("*")
        system.input("Stage piano").push(NOTE)
        system.unplug("Stage piano")
        system.unplug("Box 1")
        system.input("Stage piano").push(b"\xf6")
        assert (system.inputs(), system.outputs()) == ([], [])
        assert source.poll() == [NOTE], "what had arrived is still read"
        for attempt in (system.open_input, system.open_output):
            with pytest.raises(PortError, match="no port matches"):
                attempt("*")
        system.plug("Stage piano")
        system.plug("Box 1")
        for use in (source.poll, output.check, lambda output=output: output.send(NOTE)):
            with pytest.raises(PortGone, match="was unplugged"):
                use()
        new = system.open_input("*"), system.open_output("*")
        system.input("Stage piano").push(NOTE)
        new[1].send(NOTE)
        assert new[0].poll() == [NOTE]
        assert [message for _, message in system.output("Box 1").sent] == [NOTE]
        for port in (source, output, *new):
            port.close()


def test_only_the_systems_ports_have_cables(system: MemorySystem) -> None:
    """Pulling or plugging in a port that the system does not have raises KeyError with its name."""
    for attempt in (system.unplug, system.plug):
        with pytest.raises(KeyError, match="Grand"):
            attempt("Grand")


def test_one_cable_is_pulled_twice(system: MemorySystem) -> None:
    """A port that was unplugged on its own opens again; plugging in what is in place changes nothing."""
    source = system.open_input("*")
    system.plug("Stage piano")
    assert system.open_input("*") is source
    source.unplug()
    again = system.open_input("*")
    system.input("Stage piano").push(NOTE)
    assert again.poll() == [NOTE]


def test_the_service_stops_and_starts(system: MemorySystem) -> None:
    """When the service stops, all ports are gone, ours too; once all are closed and it runs again, it can be joined."""
    for _ in range(3):
        sources = system.open_input("*"), system.open_virtual_input("keys")
        outputs = system.open_output("*"), system.open_virtual_output("strings")
        system.refresh()
        system.stop()
        failing: list[Callable[[], object]] = [*(port.poll for port in sources), *(port.check for port in outputs)]
        lists: list[Callable[[], object]] = [
            system.inputs,
            system.outputs,
            lambda: system.open_input("*"),
            lambda: system.open_virtual_input("x"),
        ]
        for use in (*failing, *failing, *lists):
            with pytest.raises(PortGone, match="has stopped; its ports come back when it does"):
                use()
        system.start()
        with pytest.raises(PortError, match="still open; close them first"):
            system.refresh()
        for port in (*sources, *outputs):
            port.close()
        system.stop()
        with pytest.raises(PortError, match="has stopped"):
            system.refresh()
        system.start()
        with pytest.raises(PortGone, match="has stopped"):
            system.inputs()
        system.refresh()
        assert (system.inputs(), system.outputs()) == (["Stage piano"], ["Box 1"])
        source, output = system.open_input("*"), system.open_virtual_output("strings")
        system.input("Stage piano").push(NOTE)
        output.send(NOTE)
        assert source.poll() == [NOTE]
        source.close()
        output.close()


def test_what_is_sent_is_stamped_by_the_clock() -> None:
    """Each message carries the time of the clock that the system was given."""
    system = MemorySystem("pit", (), ("Box 1",), clock=itertools.count(5).__next__)
    joined, ours = system.open_output("*"), system.open_virtual_output("strings")
    joined.send(NOTE)
    ours.send(NOTE)
    assert joined.sent + ours.sent == [(5, NOTE), (6, NOTE)]


def test_a_closed_port_opens_again(system: MemorySystem) -> None:
    """A closed port receives nothing, and works as new when it is opened again."""
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
    """A pattern that matches no port is refused with the candidates."""
    with pytest.raises(PortError, match=r'no port matches "Grand.*Stage piano'):
        system.open_input("Grand*")


def test_memory_needs_no_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    """The memory backend opens where python-rtmidi cannot be loaded."""
    monkeypatch.setitem(sys.modules, "rtmidi", None)
    assert open_system("memory", "pit").inputs() == []


def test_an_unknown_backend_is_reported() -> None:
    """An unknown backend is refused with the known ones."""
    with pytest.raises(PortError, match='no backend "telegraph"; there are alsa, jack, coremidi, winmm, memory'):
        open_system("telegraph", "pit")
