"""Requests of a JACK server are made in order, by one thread, and nobody waits for ever."""

import threading
from functools import partial

import pytest

from engine.ports.jack_client.requests import JackRequests
from engine.ports.port import PortError
from tests.support.waiting import until

SOON = 0.05  # seconds


def _held_up(making: JackRequests) -> threading.Event:
    """A request that ends when this is set, and no earlier; it has begun."""
    go, begun = threading.Event(), threading.Event()

    def wait() -> None:
        begun.set()
        go.wait()

    making.post(wait)
    assert begun.wait(30)
    return go


def test_requests_are_made_in_order_by_one_thread() -> None:
    """What was posted comes before what is asked for; all of it is done in the same thread, which then ends."""
    making, done = JackRequests(), list[tuple[int, str]]()

    def note(number: int) -> int:
        done.append((number, threading.current_thread().name))
        return number

    for number in range(100):
        making.post(partial(note, number))
    assert making.ask(lambda: note(100)) == 100
    assert done == [(number, "bayleaf-jack") for number in range(101)]
    making.end()
    until("its end", lambda: "bayleaf-jack" not in [thread.name for thread in threading.enumerate()])


def test_who_asks_gets_what_the_request_raised() -> None:
    """Whatever it is; the thread goes on."""
    making = JackRequests()

    def refuse() -> None:
        raise OSError("refused")

    with pytest.raises(OSError, match="refused"):
        making.ask(refuse)
    assert making.ask(lambda: 1) == 1
    making.end()


def test_an_answer_that_comes_too_late_is_undone() -> None:
    """Who asked was told that there is no answer, so nothing may be left of it, even if the end was asked for."""
    making, undone = JackRequests(), list[int]()
    go = threading.Event()

    def slow() -> int:
        go.wait()
        return 7

    with pytest.raises(PortError, match="the JACK server does not answer"):
        making.ask(slow, undone.append, SOON)
    making.end()
    go.set()
    until("it undone", lambda: undone == [7])


def test_what_has_not_begun_in_time_is_not_done() -> None:
    """Behind a request that hangs."""
    making, done = JackRequests(), list[int]()
    go = _held_up(making)
    with pytest.raises(PortError, match="the JACK server does not answer"):
        making.ask(lambda: done.append(1), lambda answer: done.append(2), SOON)
    go.set()
    after = threading.Event()
    making.post(after.set)
    making.end()
    assert after.wait(30)
    assert done == []
