"""The loop that takes turns of the music, and trio's between them. (Our own design; no outside source.)"""

import signal
import subprocess
import sys
import threading
from functools import partial

import pytest
import trio

from engine.live import music_loop
from engine.live.music_loop import put_call
from tests.support.in_music_loop import in_music_loop


def test_what_the_task_returns_or_raises() -> None:
    """As from trio.run."""

    async def added(one: int, other: int) -> int:
        await trio.lowlevel.checkpoint()
        if one > other:
            raise ValueError("wrong way round")
        return one + other

    assert music_loop.run(added, 1, 2) == 3
    with pytest.raises(ValueError, match="wrong way round"):
        music_loop.run(added, 2, 1)


@in_music_loop
async def test_calls_are_made_in_the_order_in_which_they_came() -> None:
    """From whichever thread, and in the loop's."""
    put, all_made = put_call(), trio.Event()
    made: list[tuple[int, int]] = []

    def make(number: int) -> None:
        made.append((number, threading.get_ident()))

    def ask() -> None:
        for number in range(1000):
            put(partial(make, number))
        put(all_made.set)

    asking = threading.Thread(target=ask)
    asking.start()
    await all_made.wait()
    asking.join()
    assert made == [(number, threading.get_ident()) for number in range(1000)]


@in_music_loop
async def test_music_without_a_rest_leaves_trio_its_turns() -> None:
    """Timers and sockets are served while each call asks for the next one."""
    put, going = put_call(), True

    def again() -> None:
        if going:
            put(again)

    put(again)
    near, far = trio.socket.socketpair()
    with near, far, trio.fail_after(60):
        await trio.sleep(0.01)
        await near.send(b"scene 2")
        assert await far.recv(100) == b"scene 2"
        assert await trio.to_thread.run_sync(lambda: 7) == 7
    going = False


@in_music_loop
async def test_a_call_may_start_tasks_and_cancel_them() -> None:
    """trio notices what a call has changed although it was made outside of all tasks."""
    put, begun = put_call(), trio.Event()

    async def task() -> None:
        begun.set()
        await trio.sleep_forever()

    with trio.fail_after(60):
        async with trio.open_nursery() as nursery:
            nursery.start_soon(trio.sleep_forever)
            put(lambda: nursery.start_soon(task))
            await begun.wait()
            put(nursery.cancel_scope.cancel)


def test_each_loop_has_its_own_calls() -> None:
    """One after the other; and there is none outside."""

    async def ask() -> object:
        return put_call()

    assert music_loop.run(ask) != music_loop.run(ask)
    with pytest.raises(LookupError):
        put_call()


_PLAYS = """
import signal
import trio
from engine.live import music_loop
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell has it ignored by what runs in the background
async def main():
    try:
        print("plays", flush=True)
        await trio.sleep_forever()
    finally:
        print("tidied up", flush=True)
music_loop.run(main)
"""


def test_ctrl_c_ends_the_task_properly() -> None:
    """Even while the loop waits for a call, what the task must do at its end is done."""
    with subprocess.Popen([sys.executable, "-c", _PLAYS], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"plays\n"
        process.send_signal(signal.SIGINT)
        said, complaint = process.communicate(timeout=60)
    assert said == b"tidied up\n"
    assert complaint.rstrip().endswith(b"KeyboardInterrupt")
