"""The JACK server is killed in the middle of a song and started again, with everything on it except the engine."""

import json
import os
import random
import signal
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.support.engine_process import Engine
from tests.support.jack_servers import MORTAL, start_as_granted
from tests.support.jack_stage import faults_wanted
from tests.support.jack_stage_rig import SCENES, rig
from tests.support.needed import need
from tests.support.paths import process_of
from tests.support.songs import BUSY, song_file
from tests.support.waiting import until

#: seconds until all ports are open on a new server, in the median; about one is usual, and ten times that a fault
LONGEST_RETURN = 10.0


class FarEnd:
    """Players and boxes in a process of their own, on the mortal server."""

    def __init__(self, how: str) -> None:
        environment = {**os.environ, "JACK_DEFAULT_SERVER": MORTAL, "JACK_NO_START_SERVER": "1"}
        environment["PYTHONPATH"] = os.pathsep.join(sys.path)
        pipe = subprocess.PIPE
        command = [*process_of("jack_far_end"), str(song_file(BUSY)), how]
        self._process = subprocess.Popen(
            command, env=environment, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True
        )
        assert self._line() == "there"

    def tell(self, what: str, scene: int = 0) -> None:
        """Make a request that has no answer."""
        assert self._process.stdin is not None
        print(what, scene, file=self._process.stdin, flush=True)

    def settle(self, scene: int) -> list[str]:
        """What is left once everything is released."""
        self.tell("settle", scene)
        left: list[str] = json.loads(self._line())
        return left

    def kill(self) -> None:
        """Kill it: it may hang on the server that is gone."""
        self._process.kill()
        self._process.communicate()

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()


@contextmanager
def far_end(how: str) -> Iterator[FarEnd]:
    """Players and boxes until the end of the block."""
    end = FarEnd(how)
    try:
        yield end
    finally:
        end.kill()


@pytest.fixture
def servers() -> Iterator[list[subprocess.Popen[bytes]]]:
    """The mortal server; each new one is appended."""
    need("jackd")
    running = [start_as_granted(MORTAL)]
    try:
        yield running
    finally:
        for server in running:
            server.kill()
            server.wait()


def _open(engine: Engine) -> bool:
    answer = engine.request("status")
    ports = [*answer["status"]["inputs"], *answer["status"]["outputs"]] if answer else []
    return bool(ports) and all(port["state"] == "open" for port in ports)


@pytest.mark.parametrize("how", ["own", "join"])
def test_the_server_dies_and_comes_back(servers: list[subprocess.Popen[bytes]], tmp_path: Path, how: str) -> None:
    """Killed at random moments and started again, the server has the same engine on all ports again, other programs' or
    the engine's own; playing on it then leaves nothing behind, and the boxes are on the scene's sounds."""
    dice = random.Random(how)
    options = ["--virtual"] if how == "join" else []
    engine = Engine(tmp_path, rig(1, scenes=SCENES), "--backend", "jack", *options)
    engine.environment.update(JACK_DEFAULT_SERVER=MORTAL, JACK_NO_START_SERVER="1")
    engine.start()
    took, left = [], []
    try:
        for _ in range(faults_wanted(quick=False)):
            with far_end(how) as end:
                until("all ports", lambda: _open(engine))
                end.tell("play")
                end.tell("recall", dice.choice(list(SCENES)))
                time.sleep(dice.uniform(0, 0.5))  # at any moment
                servers[-1].kill()
                servers[-1].wait()
            until("the loss noticed", lambda: not _open(engine))
            time.sleep(dice.uniform(0, 0.5))  # at any moment
            servers.append(start_as_granted(MORTAL))
            begin = time.monotonic()
            with far_end(how) as end:
                if how == "own":
                    begin = time.monotonic()  # its ports exist from now on
                until("all ports again", lambda: _open(engine))
                took.append(time.monotonic() - begin)
                if how == "join":  # they missed what was sent before they connected
                    assert engine.request("resend")
                end.tell("play")
                answer = engine.request("status")
                assert answer is not None
                left.append(end.settle(answer["status"]["scene"]["number"]))
    finally:
        engine.kill()
    print(
        f"\nserver killed {len(took)} times, {how}: back after {statistics.median(took):.2f} s, worst {max(took):.2f} s"
    )
    assert [each for each in left if each] == []
    assert statistics.median(took) < LONGEST_RETURN


def test_an_engine_waits_for_a_server_that_is_started_after_it(
    servers: list[subprocess.Popen[bytes]], tmp_path: Path
) -> None:
    """With `--wait`, as at a login that starts both, it says what it waits for, and plays once the server runs."""
    servers[-1].kill()
    servers[-1].wait()
    engine = Engine(tmp_path, rig(1, scenes=SCENES), "--backend", "jack", "--wait")
    engine.environment.update(JACK_DEFAULT_SERVER=MORTAL, JACK_NO_START_SERVER="1")
    engine.begin()
    try:
        until("its first words", lambda: "waiting until there is a MIDI system: the JACK server" in engine.said())
        assert engine.request("status") is None
        servers.append(start_as_granted(MORTAL))
        until("the engine's answer", lambda: engine.process.poll() is not None or engine.request("status"))
        engine.end()
    finally:
        engine.kill()


@pytest.mark.parametrize("how", ["own", "join"])
def test_an_engine_on_a_server_that_stands_still_ends(
    servers: list[subprocess.Popen[bytes]], tmp_path: Path, how: str
) -> None:
    """A stopped server does not answer when a port on it is closed; the engine still exits normally.
    (common practice, no source)"""
    options = ["--virtual"] if how == "join" else []
    engine = Engine(tmp_path, rig(1, scenes=SCENES), "--backend", "jack", *options)
    engine.environment.update(JACK_DEFAULT_SERVER=MORTAL, JACK_NO_START_SERVER="1")
    engine.start()
    try:
        with far_end(how):
            until("all ports", lambda: _open(engine))
            servers[-1].send_signal(signal.SIGSTOP)
            engine.end()
    finally:
        engine.kill()
