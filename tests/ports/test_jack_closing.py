"""When the rtmidi objects of closed JACK ports are deleted; the reason is in engine/ports/jack_closing.py."""

import threading
from collections.abc import Iterator
from typing import cast

import pytest

from engine.ports import jack_closing
from engine.ports.jack_closing import JackClosing, thread_state
from engine.ports.jack_server import JackServer
from tests.support.waiting import until


class Server:
    """A server that goes on until it is set not to."""

    running = True

    def goes_on(self) -> bool:
        return self.running


class Device:
    """An rtmidi object with a thread of its own, which only waits."""

    def __init__(self) -> None:
        self.did: list[str] = []
        self._over = threading.Event()
        self.thread = threading.Thread(target=self._over.wait)
        self.thread.start()

    def end(self) -> None:
        self._over.set()
        self.thread.join()

    def close_port(self) -> None:
        self.did.append("closed")

    def delete(self) -> None:
        self.did.append("deleted")


@pytest.fixture
def server() -> Server:
    """The server of the ports."""
    return Server()


@pytest.fixture
def closing(server: Server) -> JackClosing:
    """What is closed there."""
    return JackClosing(cast("JackServer", server))


@pytest.fixture
def device(closing: JackClosing) -> Iterator[Device]:
    """An object on it, whose thread waits."""
    made = closing.make(Device)
    assert isinstance(made, Device)
    until("a thread at rest", lambda: thread_state(made.thread.native_id or 0) == "S")
    yield made
    made.end()


@pytest.fixture
def running(device: Device, monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """The threads that run; first the device's."""
    assert device.thread.native_id is not None
    threads = {device.thread.native_id}
    monkeypatch.setattr(jack_closing, "thread_state", lambda thread: "R" if thread in threads else "S")
    return threads


def test_what_is_at_rest_is_deleted_at_once(closing: JackClosing, device: Device) -> None:
    """Its port is closed before."""
    closing.close(device)
    assert device.did == ["closed", "deleted"]


def test_what_is_busy_is_closed_at_once_and_deleted_later(
    closing: JackClosing, device: Device, running: set[int]
) -> None:
    """Once its thread is at rest, when something else is made or closed; and once only."""
    closing.close(device)
    closing.sweep()
    assert device.did == ["closed"]
    running.clear()
    closing.make(object)
    assert device.did == ["closed", "deleted"]
    closing.sweep()
    assert device.did == ["closed", "deleted"]


def test_the_end_waits_for_what_is_busy(closing: JackClosing, device: Device, running: set[int]) -> None:
    """It is deleted as soon as its thread is at rest."""
    closing.close(device)
    threading.Timer(0.05, running.clear).start()
    closing.finish()
    assert device.did == ["closed", "deleted"]


def test_what_does_not_come_to_rest_is_left_alone(
    closing: JackClosing, device: Device, running: set[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The end waits for a second at most; the server frees it with the process."""
    assert jack_closing._PATIENCE == 1
    monkeypatch.setattr(jack_closing, "_PATIENCE", 0.02)
    closing.close(device)
    closing.finish()
    assert device.did == ["closed"]


def test_a_thread_that_has_ended_is_at_rest(closing: JackClosing, device: Device) -> None:
    """Nothing is left that could read what is freed."""
    device.end()
    closing.close(device)
    assert device.did == ["closed", "deleted"]


def test_on_a_server_that_has_stopped_nothing_is_touched(closing: JackClosing, server: Server, device: Device) -> None:
    """Closing there would block the process, and deleting would end it."""
    server.running = False
    closing.close(device)
    closing.finish()
    assert device.did == []
