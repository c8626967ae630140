"""Which processors threads run on. (sched_setaffinity(2): a thread inherits its creator's processors; sched(7).)"""

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from typing import Any

import pytest
import trio
import trio.testing

from engine.give_way import give_way
from engine.live.process.priority import ORDINARY, going_first, undisturbed
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.processor import any_of_them, one_for_all


def where() -> set[int]:
    return os.sched_getaffinity(0)


def test_what_plays_keeps_together_and_is_free_afterwards() -> None:
    """This thread and a thread that it starts share the processor that is named; afterwards both are as before."""
    before, seen = where(), []
    with going_first() as said, one_for_all() as processor:
        thread = threading.Thread(target=lambda: seen.append(where()))
        thread.start()
        thread.join()
        if processor is not None:
            assert seen == [where()] == [{processor}]
        else:
            assert said.startswith(ORDINARY) or len(before) == 1
            assert seen == [before]
    assert where() == before


PROGRAM = """
from engine import processor
processor._CLAIM = "\\0test TEST"
from engine.live.process.priority import going_first
with going_first(), processor.one_for_all(NUMBER) as here:
    print(here, flush=True)
    input()
"""


def test_programs_on_one_computer_keep_to_different_processors() -> None:
    """Those of one rig by their number, whoever starts first; any other takes one that is free."""
    programs: list[subprocess.Popen[str]] = []

    def start(number: int | None) -> str:
        program = PROGRAM.replace("NUMBER", str(number)).replace("TEST", str(os.getpid()))
        programs.append(
            subprocess.Popen([sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        )
        assert programs[-1].stdout is not None
        return programs[-1].stdout.readline().strip()

    every = [str(processor) for processor in sorted(where())]
    try:
        if start(1) != "None":  # with one processor, or where real-time scheduling is not granted
            assert [start(number) for number in (0, len(every), len(every) + 1)] == [every[0], every[0], every[1]]
            assert sorted(start(None) for _ in every[2:]) == every[2:]
            programs[0].communicate("\n")
            programs[3].communicate("\n")
            assert start(None) == every[1]
    finally:
        for program in programs:
            program.kill()
            program.communicate()


def test_with_ordinary_scheduling_nothing_is_changed() -> None:
    """At ordinary priority no thread is bound to one processor, since other programs could take it away."""
    before = where()
    with one_for_all() as processor:
        assert processor is None
        assert where() == before


@pytest.mark.parametrize("work", [in_a_thread, to_its_end])
async def test_work_apart_may_run_anywhere(work: Callable[..., Any]) -> None:
    """Long work may use every processor the program had, so that it does not delay the music."""
    before = where()
    with undisturbed():
        assert await work(where) == before
        assert await work(lambda given: given, 7) == 7
        with pytest.raises(ZeroDivisionError):
            await work(lambda: 1 // 0)
    await trio.lowlevel.checkpoint()


def test_a_program_that_is_started_may_run_anywhere() -> None:
    """The panel's process is not bound to the music's processor."""
    before = where()
    with going_first(), one_for_all():
        child = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
        try:
            give_way(child.pid)
            assert os.sched_getaffinity(child.pid) == before
        finally:
            child.communicate(b"\n")
    any_of_them()
    assert where() == before


async def test_cancelled_work_comes_to_its_end() -> None:
    """A file that is being written when the show ends is finished, and its answer is there."""
    begun, go_on, found = threading.Event(), threading.Event(), []

    def write() -> str:
        begun.set()
        go_on.wait()
        return "written"

    async def save() -> None:
        found.append(await to_its_end(write))

    async with trio.open_nursery() as nursery:
        nursery.start_soon(save)
        await trio.to_thread.run_sync(begun.wait)
        nursery.cancel_scope.cancel()
        with trio.CancelScope(shield=True):
            await trio.testing.wait_all_tasks_blocked()
        go_on.set()
    assert found == ["written"]


async def test_work_that_hangs_is_abandoned() -> None:
    """A disk that is gone does not hold up the end of a show."""
    for_ever = threading.Event()
    with trio.move_on_after(0.05) as scope:
        await to_its_end(for_ever.wait)
    assert scope.cancelled_caught
    for_ever.set()


async def test_work_that_never_began_is_not_waited_for(autojump_clock: trio.testing.MockClock) -> None:
    """In a task that is cancelled already there is nothing to come to its end."""
    begun: list[str] = []
    with trio.CancelScope() as scope:
        scope.cancel()
        await to_its_end(begun.append, "begun")
    assert (begun, trio.current_time()) == ([], 0)
