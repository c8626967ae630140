"""Who closes ports on a JACK server, or asks it for something, and who waits for that."""

import threading
from collections.abc import Iterator
from typing import Any

import pytest

from engine.ports.port import PortError
from tests.support.needed import need_module
from tests.support.waiting import until


class HeldUpClient:
    """A `native.Client` of a server that goes on, and answers closings only once `answers` is set."""

    period = 0.01
    died = False
    changes = 0

    def __init__(self, name: str) -> None:
        self.asked = threading.Event()
        self.answers = threading.Event()
        self.done: list[str] = []
        self._cycles = 0

    @property
    def cycles(self) -> int:
        """One more with each look."""
        self._cycles += 1
        return self._cycles

    def open(self, is_output: bool, name: str) -> int:
        """See native.pyi, as all below."""
        self.done.append(f"open {name}")
        return 256 * is_output

    def name(self, place: int) -> str:
        return f"pit:{place}"

    def close_port(self, place: int) -> bool:
        self.asked.set()
        self.answers.wait()
        self.done.append(f"close {place}")
        return True

    def read(self, place: int) -> list[tuple[int, bytes]]:
        return []

    def send(self, place: int, message: bytes, at: int) -> bool:
        self.done.append(message.hex())
        return True

    def close(self) -> None:
        self.done.append("leave")


@pytest.fixture
def system(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Ports on such a server."""
    need_module("engine.ports.jack_client.native")
    from engine.ports.jack_client import system, watched_client

    monkeypatch.setattr(watched_client, "Client", HeldUpClient)
    ports: Any = system.OneClientSystem("pit")
    yield ports
    ports._client.native.answers.set()
    ports.close()


def test_who_closes_a_port_does_not_wait_for_the_server(system: Any) -> None:
    """The reader closes an input and the loop an output while the server answers nothing; both go on at once."""
    source, output, other = (
        system.open_virtual_input("keys"), system.open_virtual_output("strings"), system.open_virtual_output("brass")
    )  # fmt: skip
    source.close()
    output.close()
    assert source.poll() == []
    with pytest.raises(PortError, match="is closed"):
        output.send(b"\xf8")
    other.send(b"\xfe")
    native = system._client.native
    assert native.done == ["open in:keys", "open out:strings", "open out:brass", "fe"]
    native.answers.set()
    until("both closed", lambda: native.done[4:] == ["close 0", "close 256"])


def test_at_the_end_all_ports_leave_with_the_client(system: Any) -> None:
    """None of them is closed by itself, so that the end takes no longer with many of them."""
    native = system._client.native
    ports = [system.open_virtual_input(f"keys {number}") for number in range(9)]
    native.done.clear()
    for port in ports:  # the server is asked to close the first, and does not answer yet
        port.close()
    assert native.asked.wait(30)
    leaving = threading.Thread(target=system.close)
    leaving.start()
    until("the end begun", lambda: system._client._leaving)
    native.answers.set()
    leaving.join()
    assert native.done == ["close 0", "leave"]


def test_what_is_opened_after_a_port_was_closed_comes_after_it(system: Any) -> None:
    """So a port's name is free again for whoever opens it next."""
    native = system._client.native
    system.open_virtual_input("keys").close()
    opening = threading.Thread(target=system.open_virtual_input, args=("keys",))
    opening.start()
    native.answers.set()
    opening.join()
    assert native.done == ["open in:keys", "close 0", "open in:keys"]


def test_a_server_that_answers_nothing_is_reported(system: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks gets that answer, and may ask again; what was opened too late is closed."""
    from engine.ports.jack_client import watched_client

    native = system._client.native
    native.done.clear()
    monkeypatch.setattr(watched_client, "PATIENCE", 0.05)
    system.open_virtual_output("strings").close()
    with pytest.raises(PortError, match="the JACK server does not answer; another program on it may hang"):
        system.open_virtual_output("strings")
    monkeypatch.undo()
    native.answers.set()
    until("an answer", lambda: "close 256" in native.done)
    assert native.done == ["open out:strings", "close 256"]
