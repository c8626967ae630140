"""kill -9 at any moment: the engine restarts on the last scene, silences every output first, and no file is harmed."""

import json
import random
import statistics
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path

import pytest

from tests.support.engine_process import Engine
from tests.support.jack_ends import Box, Player
from tests.support.jack_stage import faults_wanted
from tests.support.processor_time import waited_for_processor
from tests.support.waiting import until

SCENES = range(1, 9)
SIDE_BY_SIDE = 3
LONGEST_START = 8.0  # seconds until an engine that starts alone answers, see `crash_and_start`; less than one is usual


def rig(number: int) -> str:
    """Eight scenes, each with its own program."""
    text = f"""
format = 1
[inputs]
keys = {{ port = "Stage piano {number}*" }}
[outputs]
box = {{ port = "Box {number}*" }}
"""
    for scene in SCENES:
        text += f"""
[[scenes]]
number = {scene}
name = "Scene {scene}"
routes = [ {{ from = "keys", to = "box" }} ]
burst = [ {{ output = "box", channel = 1, bank = [0, {scene}], program = {scene + 1} }} ]
"""
    return text


class Victim:
    """An engine that is killed again and again while it recalls one scene after another."""

    def __init__(self, folder: Path, number: int) -> None:
        folder.mkdir()
        self.dice = random.Random(number)
        self.piano, self.box = Player(f"Stage piano {number}"), Box(f"Box {number}")
        self.engine = Engine(folder, rig(number), "--backend", "jack", name=f"pit{number}")
        self.state = folder / "state" / "bayleaf" / f"pit{number}.json"
        self.rig = self.engine.file.read_bytes()
        self.box.synth.heeds = True
        self._scene = 1
        self.engine.start()

    def close(self) -> None:
        """Close everything here."""
        self.engine.kill()
        self.piano.pull()
        self.box.pull()

    def crash_and_start(self) -> tuple[float, list[str]]:
        """Crash once; returns how long the next start took (s), and what was wrong then.

        What the engine waited for a processor, on a busy computer, does not count.
        """
        possible = self._crash_amid_recalls()
        if self.dice.random() < 0.3:  # killed as it starts, too
            self.engine.begin()
            time.sleep(self.dice.uniform(0, 1.5))  # at any moment
            self.engine.kill()
        self.box.listen()
        self.box.synth.log.clear()
        begin = time.monotonic()
        self.engine.start()
        took = time.monotonic() - begin - waited_for_processor(self.engine.process.pid)
        answer = self.engine.request("status")
        assert answer is not None
        self._scene = answer["status"]["scene"]["number"]
        wrong = [] if self._scene in possible else [f"on scene {self._scene}, not one of {sorted(possible)}"]
        return took, wrong + self._what_is_harmed() + self._what_sounds()

    def _crash_amid_recalls(self) -> set[int]:
        """Kill it at a random moment; returns the possible scenes: the last one answered, and one still asked for."""
        answered, asked = [self._scene], [self._scene]
        ended = threading.Event()

        def recall() -> None:
            for turn in count():
                asked.append(1 + (asked[-1] + turn) % len(SCENES))
                self.piano.play(bytes((0x90, 30 + turn % 60, 64)))
                for message in ((0xE0, turn % 128, 99), (0xB0, 1, 90), (0xB0, 64, 127), (0xD0, 50)):
                    self.piano.play(bytes(message))
                answer = self.engine.request("scene", scene=asked[-1])
                if answer is None or ended.is_set():
                    return
                answered.append(asked[-1])

        recalling = threading.Thread(target=recall)
        recalling.start()
        time.sleep(self.dice.uniform(0, 0.4))  # at any moment
        self.engine.kill()
        ended.set()
        recalling.join()
        return {answered[-1], asked[-1]}

    def _what_is_harmed(self) -> list[str]:
        harmed = []
        if self.engine.file.read_bytes() != self.rig:
            harmed.append("the rig file was changed")
        scenes = {str(self.engine.file.resolve()): self._scene}
        try:
            until("the scene written down", lambda: self._written() == scenes, 10)
            until("nothing but the state", lambda: list(self.state.parent.iterdir()) == [self.state], 10)
        except (AssertionError, ValueError) as fault:
            harmed.append(f"the state: {fault}, {list(self.state.parent.iterdir())}")
        return harmed

    def _written(self) -> object:
        """The scene by rig file in the state file, which is whole JSON at any moment (or ValueError is raised)."""
        shows = json.loads(self.state.read_text(encoding="utf-8"))["shows"]
        return {file: standing[0] for file, standing in shows.items()}

    def _what_sounds(self) -> list[str]:
        sounds = {0: (0, self._scene, self._scene)}

        def residue() -> list[str]:
            self.box.listen()
            sent = any(message[0] & 0xF0 == 0xC0 for message in self.box.synth.log)
            return self.box.synth.residue(sounds) if sent else ["no scene was sent"]

        try:
            until("silence", lambda: not residue(), 10)
        except AssertionError:
            return residue()
        swept = set()
        for message in self.box.synth.log:
            if message[0] & 0xF0 == 0xC0:
                break
            swept.add(message[:2])
        unswept = [n for n in (64, 123, 120) for channel in range(16) if bytes((0xB0 | channel, n)) not in swept]
        return ["not silenced before the scene was sent"] * bool(unswept)


@pytest.fixture
def victims(jack_server: str, tmp_path: Path) -> Iterator[list[Victim]]:
    """A few engines side by side."""
    running: list[Victim] = []
    try:
        for number in range(1, SIDE_BY_SIDE + 1):
            running.append(Victim(tmp_path / str(number), number))
        yield running
    finally:
        for victim in running:
            victim.close()


def test_the_next_start_is_on_the_last_scene(victims: list[Victim]) -> None:
    """Killed at any moment, in the middle of scene changes and of its own start too, the engine starts on the last
    scene that it had answered (or the one just asked for); every output is silenced before its sounds are set, and
    rig file and state file are whole. How long a start takes is printed."""
    times = max(2, faults_wanted(quick=True) // 10)

    def crashes(victim: Victim) -> list[tuple[float, list[str]]]:
        return [victim.crash_and_start() for _ in range(times)]

    with ThreadPoolExecutor(len(victims)) as pool:
        done = [each for one in pool.map(crashes, victims) for each in one]
    took = sorted(each for each, _ in done)
    print(
        f"\n{len(done)} crashes: the next start answered after {statistics.median(took):.2f} s, worst {took[-1]:.2f} s"
        f", with {len(victims)} engines side by side"
    )
    assert [wrong for _, wrong in done if wrong] == []
    assert took[-1] < LONGEST_START * len(victims)


def test_how_long_a_start_takes(jack_server: str, tmp_path: Path) -> None:
    """A single engine, killed, starts again and answers; how long that takes is printed."""
    victim = Victim(tmp_path / "1", 1)
    try:
        took = sorted(victim.crash_and_start()[0] for _ in range(5))
    finally:
        victim.close()
    print(f"\nalone, a start after a crash answers after {statistics.median(took):.2f} s, worst {took[-1]:.2f} s")
    assert took[-1] < LONGEST_START


def _nothing(engine: Engine) -> None:
    """The last one ended normally."""


def _crash(engine: Engine) -> None:
    """The last one was killed."""
    engine.start()
    engine.kill()


@pytest.mark.parametrize("before", [_nothing, _crash], ids=["the first time", "after a crash"])
def test_started_twice_in_the_same_instant(jack_server: str, tmp_path: Path, before: Callable[[Engine], None]) -> None:
    """Of two engines with one name that start at the same instant, one plays; the other reports it and exits with 1."""
    for _ in range(3):
        both = Engine(tmp_path, rig(1), "--backend", "jack"), Engine(tmp_path, rig(1), "--backend", "jack")
        before(both[0])
        _start_both(*both)


def _start_both(one: Engine, other: Engine) -> None:
    one.begin()
    other.begin()
    try:
        until("one that gives up", lambda: one.process.poll() is not None or other.process.poll() is not None)
        loser, winner = (one, other) if one.process.poll() is not None else (other, one)
        until("the other one's answer", lambda: winner.request("status"))
        assert (loser.process.returncode, winner.process.poll()) == (1, None)
        assert 'an engine named "pit" is running' in one.said()
    finally:
        one.kill()
        other.kill()
