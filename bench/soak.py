"""A long evening: the full load, and everything that goes wrong on a stage, again and again. Does the engine hold out?

    python -m bench.soak [--minutes 30] [--seconds 60] [--seed 1] [--jack]

The load of `load.py` (the large rig, 1,041 messages per second of each input, two outputs of it DIN cables) on the
show with its reader, hotplug, flight recorder and rig file follower. Three times per second the scene changes, with a
bank and program for each instrument; now and then the cable of an input or an output is pulled and put back, an input
floods (30,000 messages per second for one second), the rig file is edited, or panic is pressed. Without --jack the
ports are in memory; with it each is a client of another process on the JACK server that is running, with fewer ports
(see `farend`).

One line per minute: resident memory, the recorder's share of it as it reports it, how many memory blocks Python holds;
latency in that minute, without inputs that flood; messages and losses.

At the end everything is released. Then each instrument, a model of a receiver that knows nothing of the engine, must
be silent and on the sound of the scene, and after the farewell nothing may be off rest. Exits with 1 if something
hangs, or if memory has grown by more than the bound after the warm-up, a third of the run. The recorder is full from
the beginning, and its own share is left out on both sides. So are two that are bounded and may be at their most only
after the warm-up: that of the answers that the routes remember, which are forgotten at each edit, and that of the
messages that wait on a computer too slow for this load. In a minute, what grows by some 80 bytes with each message is
found.
"""

import argparse
import platform
import random
import sys
import tempfile
import time
from array import array
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Final

import trio

from bench import desk, farend
from bench.desk import Choosy, Desk, Size
from bench.load import RATE
from bench.recorder import resident
from engine.core.commands import Panic, RecallScene
from engine.live import music_loop
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_session import RigSession
from engine.live.hotplug import Hotplug
from engine.live.loop_wakeup import waker
from engine.live.port_opening import PortOpener, connect
from engine.live.process.gc_pauses import collect_when_idle, collector_at_rest
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.live.recorder import SHORT
from engine.live.show import Show
from engine.ports.open_system import open_system
from engine.ports.port import PortError, PortSystem
from engine.rig.read.load import load, text_of

BOUND: Final = 24  # MB that memory may grow after the warm-up: on a busy computer garbage waits to be collected
ANSWER: Final = 640  # bytes that a remembered answer takes (measured with this rig)
WAITING: Final = 75  # bytes that a waiting message takes (likewise)
FULL: Final = (1 << 20) - 512  # events of a recorder that is full
FLOOD: Final = 30_000  # messages per second
SCENES: Final = 4
BEAT: Final = 0.3  # seconds between scene changes
#: of the outputs beyond the number of inputs: each is the second output of one input, or of several
DIN: Final = (0, 1)
#: disturbances, and how many beats lie between two of them, on average
OFTEN: Final = {"input pulled": 8, "output pulled": 8, "flood": 30, "edit": 20, "panic": 25}
COLUMNS: Final = (
    *("s", "resident MB", "recorder MB", "Python's blocks", "p50 µs", "p99 µs", "worst µs"),
    *("messages/s", "dropped", "shed in", "shed out"),
)
DEADLINE: Final = 60.0  # seconds; a busy machine may have to catch up
STEPS: Final = 100_000  # µs; longer latencies count as this


def rig_text(edits: int, size: Size) -> str:
    """The rig after this many edits: scene 2 sounds different each time, and every third edit leaves out an output."""
    outputs = [index for index in range(size.outputs) if index != size.outputs - 1 or edits % 3]
    lines = [
        "format = 1",
        "[inputs]",
        *(f'in{i} = {{ port = "{size.input_name.format(i + 1)}" }}' for i in range(size.inputs)),
        "[outputs]",
    ]
    for index in outputs:
        more = (
            ', wire = "din"'
            if index - size.inputs in DIN
            else ", active_sensing = true"
            if index == size.outputs - 2
            else ""
        )
        lines.append(f'out{index} = {{ port = "{size.output_name.format(index + 1)}"{more} }}')
    lines.append("[instruments]")
    for index in outputs:
        settle = ', settle = "10 ms"' if index % 2 else ""
        lines.append(f'i{index} = {{ output = "out{index}", channel = {index % 16 + 1}{settle} }}')
    for scene in range(1, SCENES + 1):
        lines += ["[[scenes]]", f"number = {scene}", f'name = "Scene {scene}"']
        lines += ['held = "cut"' if scene == 3 else 'held = "ring"', "routes = ["]
        lines += [_route(scene, source, edits, size, outputs) for source in range(size.inputs)]
        lines += ["]", "burst = ["]
        for index in outputs:
            bank, program = sound(scene, index)
            lines.append(f'  {{ instrument = "i{index}", bank = [{bank}, 0], program = {program + 1} }},')
        lines.append("]")
    return "\n".join(lines)


def _route(scene: int, source: int, edits: int, size: Size, outputs: list[int]) -> str:
    to = [(source + scene - 1) % size.inputs]
    spare = size.outputs - size.inputs
    shared = source % spare
    if source < spare or (scene == 4 and shared not in DIN):  # scene 4 is the crowded one
        to.append(size.inputs + shared)
    names = [f"out{index}" for index in to if index in outputs]
    semitones = -12 - edits % 5 if scene == 2 else 12
    return (
        f"  {{ from = 'in{source}', to = {names}, through = [ {{ filter = 'transpose', semitones = {semitones} }}, "
        f"{{ filter = 'channels', map = {{ {source % 16 + 1} = {(source + 1) % 16 + 1} }} }} ] }},"
    )


def sound(scene: int, output: int) -> tuple[int, int]:
    """Bank (high byte) and program, from 0, of an instrument in a scene."""
    return scene, (scene * 20 + output) % 128


class Histogram:
    """All latencies of a minute in steps of a microsecond, in memory that does not grow."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Start a new minute."""
        self._counts = array("L", bytes(8 * STEPS))
        self._worst = 0

    def add(self, sample: int) -> None:
        """One more, in ns."""
        self._counts[min(sample // 1000, STEPS - 1)] += 1
        if sample > self._worst:
            self._worst = sample

    def figures(self) -> list[float]:
        """p50, p99 and worst in µs."""
        total, passed, found = sum(self._counts), 0, []
        wanted = [0.5, 0.99]
        for index, count in enumerate(self._counts):
            passed += count
            while wanted and passed >= total * wanted[0]:
                found.append(float(index))
                wanted.pop(0)
            if not wanted:
                break
        return [*found, self._worst / 1000]


class Soak:
    """One run."""

    def __init__(self, seconds: float, seed: int, file: Path, jack: bool) -> None:
        self._seconds = seconds
        self._file = file
        self._size = farend.SIZE if jack else desk.SIZE
        self._edits = 0
        self._write()
        self.desk: Desk | farend.FarEnd
        self._system: PortSystem
        if jack:
            self._system = open_system("jack", "soak")  # first: it raises if there is no server
            self.desk = farend.FarEnd()
        else:
            self.desk = self._system = Desk()
        self._opener = PortOpener(self._system, virtual=False)
        rig = load(file)
        patch = connect(rig, self._opener)
        self._inbox = InputReader(dict(enumerate(patch.inputs.values())))
        self.reported: Counter[str] = Counter()
        self.show = Show(rig, patch, self._inbox, say=self._hear)
        self._latency = Histogram()
        self._measured = Choosy(self.show, self._latency.add)
        self._random = random.Random(seed)
        self.done: Counter[str] = Counter()
        self.faults: list[str] = []
        # what these have once taken, Python does not give back to the system
        self._most_answers = self._most_waiting = 0
        self._base: float | None = None
        self.grown = 0.0

    def _write(self) -> None:
        beside = self._file.with_suffix(".new")
        beside.write_text(rig_text(self._edits, self._size), encoding="utf-8")
        beside.replace(self._file)

    def _hear(self, text: str) -> None:
        for words in ("a loop was found", "a fault of Bayleaf itself", "refused"):
            if words in text:
                self.reported[words] += 1
                print(text)

    async def run(self) -> None:
        """Play the whole evening."""
        show = self.show
        with collector_at_rest():
            self._fill_recorder()
            show.apply(RecallScene(1), "shell")
            async with trio.open_nursery() as nursery:
                nursery.start_soon(Hotplug(show, self._opener).run)
                session = RigSession(show, self._file, text_of(self._file), to_its_end)
                nursery.start_soon(RigFileFollower(session).run)
                nursery.start_soon(collect_when_idle, show.ports.messages_heard)
                self._inbox.start(waker(show))
                async with trio.open_nursery() as evening:
                    evening.start_soon(self._disturb, evening)
                    await self._tell()
                    evening.cancel_scope.cancel()
                await self._end()
                nursery.cancel_scope.cancel()
            self._inbox.stop()
        show.ports.close()
        self._system.close()
        self.desk.close()

    def _fill_recorder(self) -> None:
        """What it will hold in an evening it holds from the beginning, or its growth would hide that of others."""
        recorder, begin = self.show.recorder, time.monotonic_ns() - FULL
        for number in range(FULL):
            recorder.fresh.append((begin + number, number % self._size.inputs, bytes((0x90, number % 128, 64))))
            if len(recorder.fresh) >= recorder.piece:
                recorder.pack(SHORT)

    # What goes wrong

    async def _disturb(self, evening: trio.Nursery) -> None:
        while True:
            await trio.sleep(BEAT)
            self._most_answers = max(self._most_answers, self._answers())
            self._most_waiting = max(self._most_waiting, self._waiting())
            self.show.apply(RecallScene(self._random.randint(1, SCENES)), "shell")
            self.done["scene changes"] += 1
            for what, beats in OFTEN.items():
                if self._random.random() < 1 / beats:
                    self.done[what] += 1
                    evening.start_soon(self._one, what)

    def _answers(self) -> int:
        """How many the routes of all scenes remember now."""
        scenes = self.show.engine.state.scenes.by_number.values()
        return sum(len(known) for scene in scenes for known in scene.routes.known)

    def _waiting(self) -> int:
        """How many messages have arrived and not been taken."""
        return sum(self._inbox.waiting(source) for source in range(self._size.inputs))

    async def _one(self, what: str) -> None:
        if what == "panic":
            self.show.apply(Panic(), "shell")
        elif what == "edit":
            self._edits += 1
            self._write()
        elif what == "flood":
            source = self._random.randrange(self._size.inputs)
            self._measured.leave_out(source)
            self.desk.flood(source, FLOOD)
            await trio.sleep(1)
            self.desk.flood(source, RATE)
            await self._until(lambda: not self._inbox.waiting(source))
            self._measured.measure(source)
        else:
            way, count = ("in", self._size.inputs) if what == "input pulled" else ("out", self._size.outputs)
            name = f"{way} {self._random.randrange(count) + 1}"
            self.desk.pull(name)
            await trio.sleep(self._random.uniform(0.1, 1.5))
            self.desk.plug(name)

    # What is reported

    async def _tell(self) -> None:
        print("| " + " | ".join(COLUMNS) + " |\n" + "|---" * len(COLUMNS) + "|")
        begin = before = time.monotonic()
        heard = 0
        while (now := time.monotonic()) - begin < self._seconds:
            await trio.sleep(min(60.0, self._seconds / 6, begin + self._seconds - now))
            self._latency_row(
                time.monotonic() - begin, time.monotonic() - before, self.show.ports.messages_heard() - heard
            )
            before, heard = time.monotonic(), self.show.ports.messages_heard()

    def _latency_row(self, at: float, seconds: float, messages: int) -> None:
        show, size = self.show, self.show.recorder.size()
        used, kept = resident() / 1e6, size["bytes"] / 1e6
        row = [at, used, kept, sys.getallocatedblocks(), *self._latency.figures(), messages / seconds]
        self._latency.clear()
        row.append(sum(meter.dropped for meter in show.ports.out_meters))
        row.append(sum(self._inbox.shed(source) for source in range(self._size.inputs)))
        row.append(sum(cable.counts.shed for cable in show.engine.state.cables))
        print("| " + " | ".join(f"{figure:,.0f}" for figure in row) + " |", flush=True)
        others = used - kept - (self._most_answers * ANSWER + self._most_waiting * WAITING) / 1e6
        if self._base is not None:
            self.grown = others - self._base
        elif at >= self._seconds / 3 - 1:
            self._base = others

    # The end of the evening

    async def _end(self) -> None:
        """Plug in everything, release everything, and check the instruments."""
        self.desk.plug_all()
        await self._wait("a port was missing", lambda: not any(self.show.ports.missing()))
        self.desk.rest()
        await self._wait("something waited", self._all_said)
        show = self.show
        scene, outputs = show.engine.scene, show.engine.rig.outputs
        assert scene is not None
        await self._wait("a note hung", lambda: not any(ear.sounding for ear in self.desk.ears()))
        for index, ear in enumerate(self.desk.ears()):
            if ear.sounding:
                self.faults.append(f"out {index + 1} hangs: {ear.sounding}")
            bank, program = sound(scene[0], index)
            if f"out{index}" in outputs and ear.sounds.get(index % 16) != (bank, 0, program):
                self.faults.append(f"out {index + 1} is not on scene {scene[0]}: {ear.sounds}")
        await self._wait("the farewell went on", lambda: not show.finish())
        await self._wait("something stayed off rest", lambda: not any(ear.off_rest for ear in self.desk.ears()))
        for index, ear in enumerate(self.desk.ears()):
            if ear.off_rest:
                self.faults.append(f"out {index + 1} is off rest: {ear.off_rest}")

    def _all_said(self) -> bool:
        return not self._waiting() and not self.show.engine.waiting

    async def _wait(self, failing: str, there: Callable[[], bool]) -> None:
        if not await self._until(there):
            self.faults.append(f"{failing} for {DEADLINE:.0f} s")

    async def _until(self, there: Callable[[], bool]) -> bool:
        for _ in range(round(DEADLINE / 0.05)):
            if there():
                return True
            await trio.sleep(0.05)
        return False

    def verdict(self) -> int:
        """Print the verdict; returns the exit status."""
        disturbances = ", ".join(f"{count:,} {what}" for what, count in self.done.items())
        print(f"What went wrong: {disturbances}.")
        if self.grown > BOUND:
            self.faults.append(f"memory has grown by more than {BOUND} MB")
        for fault in [*self.faults, *(f"{count} times: {words}" for words, count in self.reported.items())]:
            print(f"FAULT: {fault}")
        if not self.faults and not self.reported:
            print(f"Nothing hangs; memory grew by {self.grown:.1f} MB after the warm-up (bound {BOUND} MB).")
            return 0
        return 1


def main() -> int:
    """Run and report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--seconds", type=float, help="instead of minutes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jack", action="store_true")
    options = parser.parse_args()
    seconds = options.seconds or 60 * options.minutes
    print(f"{platform.machine()}, Python {platform.python_version()}, {seconds:.0f} s, seed {options.seed}, ", end="")
    print(f"{'JACK' if options.jack else 'memory'} ports")
    with tempfile.TemporaryDirectory() as folder:
        try:
            soak = Soak(seconds, options.seed, Path(folder) / "rig.toml", options.jack)
        except PortError as fault:
            raise SystemExit(str(fault)) from None
        music_loop.run(soak.run)
    return soak.verdict()


if __name__ == "__main__":
    sys.exit(main())
