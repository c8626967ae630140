"""A show in which things go wrong: the real show, reader, hotplug and edits on ports in memory, in virtual time.

A real song is played on three inputs, with pedals, wheels and scene changes. At each output is a synth written from
MIDI 1.0, which judges what arrives without knowing the engine's ledger.
"""

import heapq
import itertools
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from functools import cache, partial
from importlib.metadata import EntryPoint
from pathlib import Path
from random import Random

import mido
import pytest
import trio
import trio.testing

import filters.registry
from engine.core.commands import RecallScene
from engine.core.control.setlist import ShowPosition
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_session import RigSession
from engine.live.edit.sound_list_files import facts
from engine.live.hotplug import Hotplug
from engine.live.port_opening import PortOpener, connect
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.memory import MemoryOutput, MemorySystem
from engine.rig.models.rig import rig_models
from engine.rig.read.load import load, text_of
from tests.support import breaking_filter
from tests.support.at_once import at_once
from tests.support.faulty_show_rig import FIRST, FOOT, INPUTS, LATCHED, OUTPUTS
from tests.support.receiver import Receiver
from tests.support.songs import BUSY, song_file

MS = 1_000_000
S = 1000 * MS
_POLL = 250_000  # ns, as the reader thread does while something plays
_ROUND = 50 * MS  # how often the tasks that wait for virtual time get to run
_PEDALS = (64, 66, 67, 69)


@cache
def song() -> list[tuple[int, int, bytes]]:
    """The song as (ns, input, message), with its channels shared out to the three inputs, about four to each."""
    at, listed = 0.0, []
    for message in mido.MidiFile(song_file(BUSY)):
        at += message.time
        if not message.is_meta and hasattr(message, "channel"):
            source, channel = message.channel % 3, message.channel // 3
            if source == FOOT and message.type == "program_change":
                continue  # on that channel a program change recalls scenes
            listed.append((round(at * S), source, bytes(message.copy(channel=channel).bytes())))
    return listed


def add_plug_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """Install the plug-in `fragile` for this test, as other packages install theirs."""
    group = filters.registry.ENTRY_POINT_GROUP
    entry = EntryPoint("fragile", breaking_filter.__name__, group)
    monkeypatch.setattr(filters.registry, "entry_points", lambda group: [entry])
    monkeypatch.setattr(breaking_filter, "broken", False)
    forget_registry()


def forget_registry() -> None:
    """Make the next rig look for its filters again."""
    filters.registry.registry.cache_clear()
    rig_models.cache_clear()


class Obedient(Receiver):
    """A synth that obeys All Notes Off, the modes that imply it, and All Sound Off (MIDI 1.0 pp. 20 to 25, A-6)."""

    def hear(self, message: bytes) -> None:
        super().hear(message)
        if message[0] & 0xF0 == 0xB0 and (message[1] == 120 or message[1] >= 123):
            for channel, key in list(self.sounding):
                if channel == message[0] & 0x0F:
                    self.sounding[channel, key] = 0


class Gear:
    """Two synths behind one port of the system: one that obeys All Notes Off, and one that does not."""

    def __init__(self) -> None:
        self.heard = 0
        self.power_on()

    def power_on(self) -> None:
        """Switch it on after a power cut: nothing sounds, and every channel is on its factory sound."""
        self.obedient, self.strict = Obedient(), Receiver()

    def hear(self, message: bytes) -> None:
        """One whole message."""
        self.heard += 1
        self.obedient.hear(message)
        self.strict.hear(message)

    def complaints(self, forgiving: bool) -> list[str]:
        """What is wrong once nothing is played any more. `forgiving`: All Notes Off is all that could be sent."""
        found = []
        for synth in (self.obedient,) if forgiving else (self.obedient, self.strict):
            found += [f"{channel + 1}: note {key} sounds" for channel, key in +synth.sounding]
            found += [f"{channel + 1}: {what} {number} is off rest" for channel, what, number in sorted(synth.off_rest)]
        return found


class HeardSystem(MemorySystem):
    """A system whose outputs lead to gear. Everything sent is kept, whichever port object it was sent to."""

    def __init__(self, clock: Callable[[], int]) -> None:
        super().__init__("pit", INPUTS, OUTPUTS, clock)
        self.gear = {name: Gear() for name in OUTPUTS}
        self._lent: list[MemoryOutput] = []

    def open_output(self, pattern: str) -> MemoryOutput:
        port = super().open_output(pattern)
        self._lent.append(port)
        return port

    def listen(self) -> Iterator[tuple[str, bytes]]:
        """What was sent since the last call, as (name of the port, message); the gear has received it."""
        for port in self._lent:
            for _, message in port.sent:
                self.gear[port.name].hear(message)
                yield port.name, message
            port.sent.clear()
        self._lent = [port for port in self._lent if not port.closed]


class Player:
    """Hands and feet: which keys are down and which controls are off rest, by input."""

    def __init__(self) -> None:
        self.keys: Counter[tuple[int, int, int]] = Counter()  # input, channel, key
        self.moved: dict[tuple[int, bytes], bytes] = {}  # -> the message that brings it to rest

    def does(self, source: int, message: bytes) -> None:
        """The player does this, whether or not it arrives."""
        kind, place = message[0] & 0xF0, (source, message[0] & 0x0F, message[1] if len(message) > 1 else 0)
        if kind == 0x90 and message[2]:
            self.keys[place] += 1
        elif kind in (0x80, 0x90) and self.keys[place]:
            self.keys[place] -= 1
        elif kind == 0xB0 and message[1] in (1, 11, *range(64, 70)):
            self.moved[source, message[:2]] = message[:2] + (b"\x7f" if message[1] == 11 else b"\x00")
        elif kind == 0xE0:
            self.moved[source, message[:1]] = message[:1] + b"\x00\x40"
        elif kind == 0xD0:
            self.moved[source, message[:1]] = message[:1] + b"\x00"

    def last_moves(self) -> list[tuple[int, bytes]]:
        """The messages that release everything."""
        offs = [(source, bytes((0x80 | channel, key, 64))) for source, channel, key in self.keys.elements()]
        return offs + [(source, rest) for (source, _), rest in self.moved.items()]


def look(inbox: InputReader, now: int) -> bool:
    """One round of the reader's thread, run by hand; returns whether anything waits for the loop."""
    inbox._poll(now)
    return inbox._settle()


class FaultyShow:
    """The show and all around it. `now` is virtual time (ns). Actions of the player and the gear wait in a queue."""

    def __init__(self, rng: Random, rig_file: Path, mock_clock: trio.testing.MockClock, nursery: trio.Nursery) -> None:
        self.rng = rng
        self.now = S
        self.slept = 0  # ns that only the system's uptime knows of
        self.messages_in = 0
        self.player = Player()
        self.silent: set[int] = set()  # inputs that do not get through
        self.loops: dict[str, int] = {}  # cables from a port of the system back to an input of the rig
        self.said: list[str] = []
        self.system = HeardSystem(lambda: self.now)
        self.rig_file = rig_file
        rig_file.write_text(FIRST, encoding="utf-8")
        self.last_scene = 1
        self.edits_adopted = 0
        self._song = song()
        self._mock_clock, self._nursery = mock_clock, nursery
        self._round_at = self.now + _ROUND
        self._queue: list[tuple[int, int, Callable[[], object]]] = []
        self._count = itertools.count()
        self.start(crashed=False)

    # The engine

    def start(self, crashed: bool) -> None:
        """Start it as `bayleaf run` does."""
        rig = load(self.rig_file)
        opener = PortOpener(self.system, virtual=False)
        patch = connect(rig, opener)
        inputs = {index: patch.inputs[n] for index, n in enumerate(rig.inputs) if n in patch.inputs}
        self.inbox = InputReader(inputs, lambda: self.now)
        self.show = Show(rig, patch, self.inbox, self._keep, lambda: self.now, self.said.append)
        self._ports = [*patch.inputs.values(), *patch.outputs.values()]
        if crashed:
            self.show.port_commands.set_up(self.show.outputs)
        self.show.apply(RecallScene(self.last_scene), "start")
        session = RigSession(self.show, self.rig_file, text_of(self.rig_file), to_its_end)
        self.edits = RigFileFollower(session, at_once)
        self._tasks = trio.CancelScope()
        self._nursery.start_soon(
            self._run, Hotplug(self.show, opener, lambda: self.now + self.slept, at_once), self.edits
        )

    async def _run(self, watch: Hotplug, edits: RigFileFollower) -> None:
        with self._tasks:
            async with trio.open_nursery() as nursery:
                nursery.start_soon(watch.run)
                nursery.start_soon(edits.run)

    def kill(self) -> None:
        """The process is gone without its farewell; the system closes its ports."""
        self._listen()
        self._tasks.cancel()
        for port in (*self.inbox._ports.values(), *self.show.ports._open):
            if port is not None:
                port.close()

    def _keep(self, positions: Mapping[str, ShowPosition]) -> None:
        self.last_scene = positions[""].scene

    def gear_of(self, output: int) -> Gear:
        """The gear at an output of the rig that plays."""
        return self.system.gear[self.show.engine.rig.outputs[self.show.outputs[output]].port or ""]

    # What happens when

    def at(self, when: int, what: Callable[[], object]) -> None:
        """Do this at that time (ns)."""
        heapq.heappush(self._queue, (when, next(self._count), what))

    def play(self, when: int, source: int, *messages: bytes) -> None:
        """The player does this at that time."""
        self.at(when, lambda: self.do(source, *messages))

    def do(self, source: int, *messages: bytes) -> None:
        """The player does this now; it counts for nothing while the cable is out."""
        for message in messages:
            self.player.does(source, message)
        port = self.show.ports.in_meters[source].port
        if port is not None and source not in self.silent:
            self.messages_in += len(messages)
            self.system.input(port).push(b"".join(messages))

    def play_song(self, length: int) -> None:
        """Play a piece of the song of this length (ns), from a random place, with pedals, wheels and scene changes."""
        rng = self.rng
        since = rng.uniform(0, self._song[-1][0] - length)
        for at, source, message in self._song:
            if since <= at < since + length:
                self.play(self.now + round(at - since), source, message)
        for _ in range(round(length / S * 12)):
            source, channel = rng.randrange(3), rng.randrange(4)
            message = bytes((0xB0 | channel, rng.choice((1, 11, *_PEDALS)), rng.choice((0, 127, rng.randrange(128)))))
            self.play(self.now + rng.randrange(length), source, message)
        for _, channel, number in LATCHED:
            for value in (127, 0) * rng.randrange(3):
                self.play(self.now + rng.randrange(length), FOOT, bytes((0xB0 | channel, number, value)))
        for _ in range(rng.randrange(4)):
            self.at(self.now + rng.randrange(length), self.change_scene)

    def change_scene(self) -> None:
        """Change to any scene, by foot or from the shell."""
        scene = self.rng.randint(1, 5)
        if self.rng.random() < 0.5:
            self.do(FOOT, bytes((0xC0, scene - 1)))
        else:
            self.show.apply(RecallScene(scene), "shell")

    async def wait(self, length: int) -> None:
        """Let this much time (ns) pass."""
        end, turns = self.now + length, 0
        while self.now < end or (self._queue and self._queue[0][0] <= self.now):
            due = self.inbox.due
            assert due is None or turns < 10_000, "the core wants to be called again and again, and does nothing"
            turns = turns + 1 if due is not None and due <= self.now else 0
            self.now = max(self.now, min(end, self._round_at, due or end, self._queue[0][0] if self._queue else end))
            while self._queue and self._queue[0][0] <= self.now:
                heapq.heappop(self._queue)[2]()
            self._turn()
            if self.now >= self._round_at:
                await self._let_tasks_run()

    async def until(self, condition: Callable[[], bool], within: int) -> None:
        """Let time pass until the condition holds; fail if it does not within this time (ns)."""
        end = self.now + within
        while not condition():
            assert self.now < end, f"not within {within / S} s"
            await self.wait(10 * MS)

    def _turn(self) -> None:
        """What the reader thread and the loop do with what has arrived."""
        while True:
            waits = look(self.inbox, self.now)
            self.show.pump()
            self._listen()
            if not waits:
                return
            self.now += _POLL

    async def _let_tasks_run(self) -> None:
        self._mock_clock.jump((_ROUND + 1000) / S)  # slightly more: decimal fractions of seconds do not add up
        await trio.testing.wait_all_tasks_blocked()
        self._listen()
        self._round_at = self.now + _ROUND

    def _listen(self) -> None:
        for name, message in self.system.listen():
            if name in self.loops:
                self.at(self.now + MS, partial(self._come_round, name, message))

    def _come_round(self, output: str, message: bytes) -> None:
        port = self.show.ports.in_meters[self.loops[output]].port if output in self.loops else None
        if port is not None:
            self.messages_in += 1
            self.system.input(port).push(message)

    async def edit(self, text: str, read: Callable[[], bool]) -> None:
        """The player saves the rig file, and it is read: that takes real time, but no virtual time."""
        await self.until(lambda: self.edits._handled is not None, S)
        while self.edits._session.lock.locked():  # the check at the start of the show
            await trio.to_thread.run_sync(time.sleep, 0.0002)
        self.rig_file.write_text(text, encoding="utf-8")
        await self.until(lambda: self.edits._handled == facts(self.rig_file), S)
        for _ in range(100_000):
            if read():
                break
            await trio.to_thread.run_sync(time.sleep, 0.0002)
        self._listen()
        self.edits_adopted += 1

    # The end of a moment

    async def let_go(self) -> None:
        """Every key and pedal of the player comes up, in random order."""
        self._queue = sorted(each for each in self._queue if each[0] <= self.now)  # drop the rest of the song
        await self.wait(0)
        moves = self.player.last_moves()
        self.rng.shuffle(moves)
        for source, message in moves:
            self.play(self.now + self.rng.randrange(200 * MS), source, message)
        await self.wait(200 * MS)
        assert not self.player.keys.total()
        self.player = Player()
        await self.until(lambda: not self.show.engine.waiting, 20 * S)
        await self.unlatch()

    async def unlatch(self) -> None:
        """The player sees which latched pedals are down, and presses their switches once more.

        After an edit twice, as the latches of the edited rig start afresh.
        """
        for output, channel, number in LATCHED:
            for _ in range(2 if self.edits_adopted else 1):
                down = (channel, "controller", number) in self.gear_of(output).strict.off_rest
                if down and (number == 67 or self.show.engine.scene == (2, "March")):
                    self.do(FOOT, bytes((0xB0 | channel, number, 127)))
                    self.do(FOOT, bytes((0xB0 | channel, number, 0)))
                await self.wait(MS)
        await self.until(lambda: not self.show.engine.waiting, 20 * S)

    def complaints(self, forgiving: bool = False) -> list[str]:
        """All that is wrong once every key and pedal is up."""
        show = self.show
        found = [
            f"{name} {complaint}" for name, gear in self.system.gear.items() for complaint in gear.complaints(forgiving)
        ]
        found += self._wrong_sounds()
        if show.engine.state.ledger.sounding() or show.engine.state.ledger.off_rest():
            ledger = show.engine.state.ledger
            found.append(f"the ledger has {ledger.sounding()} notes and {ledger.off_rest()} moves")
        if show.own_faults:
            found.append("a fault of Bayleaf itself: " + "; ".join(self.said[-5:]))
        return found

    def _wrong_sounds(self) -> list[str]:
        """Instruments of the current scene that are not on the bank and program of its burst."""
        rig = self.show.engine.rig
        scene = rig.scene(self.last_scene)
        assert scene is not None
        found = []
        assert self.show.engine.scene == (scene.number, scene.name)
        for step in scene.burst:
            gear = rig.instruments.get(step.instrument or "")
            output = gear.output if gear else step.output or ""
            channel = gear.channel if gear else step.channel or 0
            sound = gear.sounds[step.sound] if gear and step.sound else step
            use = gear.bank if gear else "msb lsb"
            assert sound.program is not None
            wanted = sound.program - (gear.programs_from if gear else 1)
            synth = self.system.gear[rig.outputs[output].port or ""].strict
            high, low, program = synth.sound.get(channel - 1, (-1, -1, -1))
            bank = sound.bank or (0, 0)
            if program != wanted or ("msb" in use and high != bank[0]) or ("lsb" in use and low != bank[1]):
                found.append(f"{output} {channel} is on {(high, low, program)}, not on {bank} {wanted}")
        return found
