"""The child process for heavy work: answers, faults, limits and its end."""

import gc
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import trio

from engine.live.process.worker_process import WorkerProcess, WorkGivenUp
from engine.rig.read.load import RigError, read
from tests.support.waiting import eventually
from tests.support.working_elsewhere import memory_taken

pytestmark = pytest.mark.slow


@pytest.fixture
def worker() -> Iterator[WorkerProcess]:
    made = WorkerProcess("engine.live.edit.rig_texts")
    yield made
    made.close()


async def test_work_is_done_in_another_process_with_a_lower_priority(worker: WorkerProcess) -> None:
    """The answer comes back, and one child serves one call after the other."""
    first = await worker.run(os.getpid)
    assert first != os.getpid()
    assert await worker.run(os.getpid) == first
    assert os.getpriority(os.PRIO_PROCESS, first) > os.getpriority(os.PRIO_PROCESS, 0)
    assert os.sched_getscheduler(first) not in (os.SCHED_FIFO, os.SCHED_RR)


async def test_what_the_work_raises_is_raised_here(worker: WorkerProcess) -> None:
    """A user's error arrives whole; a fault brings the other process's traceback."""
    with pytest.raises(RigError, match=r"x.toml:1: format: found 3"):
        await worker.run(read, "format = 3\n[[scenes]]\nnumber = 1\nname = 'One'\n", "x.toml")
    with pytest.raises(ZeroDivisionError) as caught:
        await worker.run(divmod, 1, 0)
    assert "Traceback" in caught.value.__notes__[0]


async def test_printing_does_not_come_between_the_answers(worker: WorkerProcess) -> None:
    """A library that prints does no harm."""
    await worker.run(print, "between")
    assert await worker.run(len, "abc") == 3


async def test_work_that_cannot_be_sent_is_raised_here(worker: WorkerProcess) -> None:
    """Half of it may be on its way: the next piece is still done."""
    with pytest.raises((AttributeError, pickle.PicklingError), match="pickle"):
        await worker.run(len, ["x" * 200_000, lambda: None])
    assert await worker.run(len, "abc") == 3


async def test_work_is_sent_without_a_copy_of_it(worker: WorkerProcess) -> None:
    """What a stranger has sent in pieces goes on in them: a copy of the whole would hold Python's lock."""
    pieces = [bytes(1 << 14) for _ in range(200)]
    await worker.run(len, pieces)
    with memory_taken() as taken:
        assert await worker.run(len, pieces) == len(pieces)
    assert taken.most < 1_000_000


async def test_a_child_that_was_lost_is_replaced(worker: WorkerProcess) -> None:
    """Work that ends the child is given up with a sentence; the next piece is done."""
    with pytest.raises(WorkGivenUp, match=r"30 seconds or 1 GB"):
        await worker.run(os.kill, await worker.run(os.getpid), signal.SIGALRM)
    assert await worker.run(len, "abc") == 3


async def test_work_that_needs_too_much_memory_is_given_up(worker: WorkerProcess) -> None:
    """Two gigabytes are refused without being taken."""
    with pytest.raises(WorkGivenUp):
        await worker.run(bytes, 2 << 30)
    assert await worker.run(len, "abc") == 3


def test_work_that_takes_too_long_ends_its_process() -> None:
    """The system ends it (SIGALRM: alarm(2)), so that work which never looks at a clock ends as well; here after a
    second instead of thirty."""
    script = "from engine.live.process import worker_process; worker_process._TIME = 1; worker_process._main('time')"
    done = subprocess.run(
        [sys.executable, "-c", script],
        input=pickle.dumps((pow, (3, 1 << 40))),
        timeout=60,
        capture_output=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (-signal.SIGALRM, b"")


async def test_cancelled_work_is_ended(worker: WorkerProcess) -> None:
    """The end of the show does not wait for work under way."""
    child = await worker.run(os.getpid)
    with trio.move_on_after(0.05) as scope:
        await worker.run(time.sleep, 20)
    assert scope.cancelled_caught
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


async def test_the_music_does_not_wait_for_the_work(worker: WorkerProcess) -> None:
    """While a rig with 50,000 mistakes is read, Python code here runs on: its longest pause is counted in its own
    turns, not in time, which the machine decides."""
    await worker.run(len, "")
    turns, stop = [0], threading.Event()

    def play() -> None:
        while not stop.is_set():
            turns[0] += 1

    thread = threading.Thread(target=play)
    thread.start()
    try:
        text = "format = 1\n[[scenes]]\nnumber = 1\nname = 'One'\n" + "".join(f"k{n} = 1\n" for n in range(50_000))
        with pytest.raises(RigError, match=r"and 49,900 more mistakes"):
            await worker.run(read, text, "x.toml")
        during = turns[0]
        await eventually(lambda: turns[0] > during)
    finally:
        stop.set()
        thread.join()
    assert during > 10_000


async def test_a_child_ends_with_its_engine(worker: WorkerProcess) -> None:
    """Its standard input ends, so nothing is left running."""
    program = (
        "import os, trio\n"
        "from engine.live.process.worker_process import WorkerProcess\n"
        "print(trio.run(WorkerProcess('engine.plurals').run, os.getpid), flush=True)\n"
        "os._exit(0)\n"
    )
    said = await trio.run_process([sys.executable, "-c", program], capture_stdout=True)
    child = int(said.stdout)

    def gone() -> bool:
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return True
        return False

    await eventually(gone)


async def test_cancelled_work_that_had_not_begun_starts_no_child(
    worker: WorkerProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thread that gets its turn only after its task was cancelled must not use the child of the next piece."""
    late, go_on, through, exchange = threading.Event(), threading.Event(), threading.Event(), worker._exchange
    started: list[object] = []

    def exchange_late(*given: Any) -> Any:
        late.set()
        go_on.wait()
        try:
            return exchange(*given)
        finally:
            through.set()

    def start(*given: Any, **options: Any) -> Any:
        started.append(given)
        return popen(*given, **options)

    popen = subprocess.Popen
    monkeypatch.setattr(subprocess, "Popen", start)
    monkeypatch.setattr(worker, "_exchange", exchange_late)
    async with trio.open_nursery() as nursery:
        nursery.start_soon(worker.run, os.getpid)
        await trio.to_thread.run_sync(late.wait)
        nursery.cancel_scope.cancel()
    go_on.set()
    await trio.to_thread.run_sync(through.wait)
    assert started == []


async def test_a_child_that_ended_by_itself_leaves_nothing_open(worker: WorkerProcess) -> None:
    """Such as one that the system ended for want of memory while it had nothing to do (a warning fails the test)."""
    child = await worker.run(os.getpid)
    os.kill(child, signal.SIGKILL)
    await trio.to_thread.run_sync(os.waitid, os.P_PID, child, os.WEXITED | os.WNOWAIT)
    assert await worker.run(len, "abc") == 3
    gc.collect()
