"""The place where the reader sleeps while nobody plays. (epoll as Linux documents it: epoll(7).)"""

import os
import select
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest

from engine.live.descriptor_wait import DescriptorWait, descriptor_wait

LONG = 30.0  # seconds: a wait that should end long before


@pytest.fixture
def news() -> Iterator[DescriptorWait]:
    """A place to wait."""
    made = descriptor_wait()
    assert made is not None
    yield made
    made.close()


@pytest.fixture
def line(news: DescriptorWait) -> Iterator[tuple[socket.socket, socket.socket]]:
    """Two ends of a line; the first is watched, and has been reported as new."""
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    news.watch([ours.fileno()])
    assert news.wait(LONG)
    yield ours, theirs
    ours.close()
    theirs.close()


def test_what_stirs_ends_the_wait_once(news: DescriptorWait, line: tuple[socket.socket, socket.socket]) -> None:
    """Each thing that comes ends one wait, whether or not it was read meanwhile."""
    ours, theirs = line
    theirs.send(b"1")
    assert news.wait(LONG)
    assert not news.wait(0)
    theirs.send(b"2")
    assert news.wait(LONG)
    ours.recv(2)
    assert not news.wait(0)


def test_what_somebody_else_has_read_ends_it_too(
    news: DescriptorWait, line: tuple[socket.socket, socket.socket]
) -> None:
    """A driver's own thread reads as well: what it has taken before we look is noticed all the same."""
    ours, theirs = line
    theirs.send(b"1")
    ours.recv(1)
    assert news.wait(0)

    def driver() -> None:
        while select.select([ours], [], [])[0]:
            with suppress(BlockingIOError):
                if ours.recv(8).endswith(b"."):
                    return

    reading = threading.Thread(target=driver)
    reading.start()
    for _ in range(200):
        theirs.send(b"x")
        assert news.wait(LONG)
    theirs.send(b".")
    reading.join()


def test_it_ends_after_its_time_or_when_roused(news: DescriptorWait) -> None:
    """A rouse before the wait counts as well; neither says that something came."""
    begun = time.monotonic()
    assert not news.wait(0.0005)
    assert time.monotonic() - begun >= 0.0005
    news.rouse()
    news.rouse()
    assert not news.wait(LONG)
    assert not news.wait(0)


def test_a_closed_descriptor_is_forgotten(news: DescriptorWait, line: tuple[socket.socket, socket.socket]) -> None:
    """Its number may then belong to another one, which is watched in its turn; one that is watched stays watched."""
    number = line[0].fileno()
    other = os.eventfd(0)
    os.dup2(other, number)  # closes what it was
    os.close(other)
    news.watch([number, number])
    assert news.wait(LONG)
    os.eventfd_write(number, 1)
    assert news.wait(LONG)


def test_what_cannot_be_watched_is_an_error(news: DescriptorWait) -> None:
    """A file always can be read, so nobody can wait for it."""
    with open(__file__, "rb") as file, pytest.raises(PermissionError):
        news.watch([file.fileno()])
