"""Which thread runs first. Source: sched(7), the real-time class SCHED_FIFO, which new threads inherit."""

import os
import subprocess
import sys
import threading

import pytest

from engine.give_way import give_way
from engine.live.process.priority import ORDINARY, going_first


def scheduling() -> int:
    return os.sched_getscheduler(0)


def test_what_is_said_is_what_is_in_force() -> None:
    """Granted or not, the sentence is true of this thread and of new ones, and afterwards all is as before."""
    before, seen = scheduling(), []
    with going_first() as said:
        thread = threading.Thread(target=lambda: seen.append(scheduling()))
        thread.start()
        thread.join()
        seen.append(scheduling())
    assert seen == [before if said.startswith(ORDINARY) else os.SCHED_FIFO] * 2
    assert scheduling() == before


def test_where_it_is_not_granted_the_show_plays_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sentence says what the login lacks."""

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "sched_setscheduler", refuse)
    with going_first() as said:
        assert said == "ordinary scheduling: this login may not ask for real-time scheduling (rtprio, see limits.conf)"


def test_a_program_that_is_started_gives_it_back() -> None:
    """The panel never runs at the music's priority."""
    with going_first():
        child = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
        try:
            give_way(child.pid)
            assert os.sched_getscheduler(child.pid) == os.SCHED_OTHER
        finally:
            child.communicate(b"\n")
