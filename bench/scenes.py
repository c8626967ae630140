"""Part `scenes`: what a scene change costs other players, and how soon it is done.

Recalls with 1, 64 and 1,000 scenes loaded; notes that play on while scenes change, each of which must come out once
and in time; bursts on a DIN cable that is filled by other messages.
"""

import random
import statistics
import time
from collections.abc import Awaitable, Callable, Sequence
from contextlib import ExitStack
from itertools import pairwise
from typing import Any, Final

import trio

from bench.load import INPUTS, OUTPUTS, Samples, Scheduled, Swallowing, messages, percentiles, played
from bench.machine import FixedWork
from bench.result import Pace, Result, beside, ratio
from bench.rigs import SETTLE_MS, ports, route, scene, show
from bench.throughput import Handed
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.meters import Latency
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import undisturbed
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.rig.read.load import read
from engine.which_build import build_in_words

LOADED: Final = (1, 64, 1000)
_INPUTS: Final = 8  # that scenes with recalls route
SOUNDING: Final = 64  # notes that are held through recalls, eight of each of these inputs
SOUNDING_FIGURE: Final = f"{SOUNDING} notes"  # the name of their figure
_SPREAD: Final = "p99 ÷ p50"
BETWEEN_NS: Final = 6_000_000  # from one recall to the next: the instruments of the last one have settled by then
PASSES: Final = 5  # in which the same recalls are repeated
BYTE_NS: Final = 320_000  # ten bits at 31,250 baud (MIDI 1.0 p. 1)
CHANNELS: Final = 8  # in a burst: two banks and a program each, eight bytes
_PLAYER: Final = 1  # the input that plays on: every scene sends it elsewhere
_BESIDE: Final = 14  # the input that fills a cable beside bursts: it comes out on channel 16


class Noting(Swallowing):
    """An output that counts note-ons and note-offs."""

    notes = 0

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self.notes += message[0] < 0xA0


class Cable(Swallowing):
    """An output with a DIN cable behind it: a message is through after all those before it."""

    def __init__(self, index: int) -> None:
        super().__init__(index)
        self.programs: list[int] = []  # when the last byte of each program change left (ns)
        self._free_at = 0

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self._free_at = max(self._free_at, time.monotonic_ns()) + len(message) * BYTE_NS
        if message[0] & 0xF0 == 0xC0:
            self.programs.append(self._free_at)


class Spans(Samples):
    """When each message was sent, and how long it took."""

    def __init__(self) -> None:
        super().__init__()
        self.sent_at: list[int] = []
        self.add = self._note

    def _note(self, sample: int) -> None:
        self.all.append(sample)
        self.sent_at.append(time.monotonic_ns())


class Recalled:
    """A show whose scenes are recalled, and how long that took (ns): until it was done, and until it routed again."""

    def __init__(self, many: int, held: bool) -> None:
        """`many`: scenes; `held`: whether notes sound on through all recalls."""
        self.many = many
        self.switching: list[int] = []
        self.routing: list[int] = []
        self._playing, self._reader = _holding(*_quiet(many)) if held else _quiet(many)
        self._sent_at = 0
        self._playing.latency = Latency(self._sent)

    def _sent(self, took: int) -> None:
        self._sent_at = time.perf_counter_ns()

    def recall(self, scene: int, message: bytes) -> None:
        """Recall one of its scenes, and route the next message."""
        playing = self._playing
        begin = time.perf_counter_ns()
        playing.apply(RecallScene(scene))
        switched = time.perf_counter_ns()
        self._reader.arrivals = [(playing.clock(), _PLAYER, message)]
        playing.pump()  # what is due beside the message follows it
        self.switching.append(switched - begin)
        self.routing.append(self._sent_at - begin)

    def go_on(self) -> None:
        """Do what is due by now, as the loop does between messages."""
        self._playing.pump()


def rested(shows: Sequence[Recalled]) -> None:
    """Let time pass as between two recalls of a player: instruments settle, and what recalls have left is done."""
    until = time.monotonic_ns() + BETWEEN_NS
    while time.monotonic_ns() < until:
        time.sleep(0.0003)
        for each in shows:
            each.go_on()


def recalls(pace: Pace, result: Result) -> None:
    """From the command to the first message from the new scene, with few scenes and with many."""
    loaded = (1, 64) if pace.quick else LOADED
    holding = f"{_scenes(loaded[-1])}, {SOUNDING} notes held"
    shows = {_scenes(many): Recalled(many, held=False) for many in loaded}
    shows[holding] = Recalled(loaded[-1], held=True)
    order, played = random.Random(1), messages(_PLAYER, 3)
    fixed = FixedWork()
    with undisturbed() as scheduling, collector_at_rest():
        _make_alike(fixed, shows[holding])
        turns: list[Recalled | None] = [*shows.values(), None]  # None: the fixed work
        for number in range(100 if pace.quick else 500):
            turns.append(turns.pop(0))  # what comes first after a pause takes longest
            for each in turns:
                if each is None:
                    fixed.turn()
                else:
                    each.recall(order.randrange(each.many) + 1, played[number % 2])
            rested([*shows.values()])
    rows = {name: _row(each.switching, each.routing) for name, each in shows.items()}
    for name, row in rows.items():
        figure = SOUNDING_FIGURE if name == holding else shows[name].many
        for part in ("p50", "p99"):
            result.figures[f"recall {part}, {figure}"] = row[f"routes again {part}"]
    rows[f"{holding}, each recall's quickest of {PASSES}"] = _at_best(pace, loaded[-1])
    rows["fixed work of the same length"] = _spread(fixed.took)
    result.figures["spread of fixed work"] = rows["fixed work of the same length"][_SPREAD]
    result.figures[f"spread of recalls, {SOUNDING_FIGURE}"] = rows[holding][_SPREAD]
    note = (
        "µs from the command until the next message has been sent by the new scene; a burst for 8 instruments each; "
        f"notes are held by keys and pedals, their inputs bent and turned; {BETWEEN_NS // 1_000_000} ms between two "
        f"recalls; {scheduling}; {build_in_words()}. The last row but one repeats the same recalls in {PASSES} equal "
        "shows, one after the other: what is left is the engine's, and no longer the machine's. The last row is Python "
        "work that is always the same, in turns with the recalls: its p99 ÷ p50 is the machine's share in theirs."
    )
    title = "Recall, by how many scenes are loaded"
    result.tables.append(beside(holding, rows, ("routes again p50", "routes again p99"), title, note))


def _at_best(pace: Pace, many: int) -> dict[str, float]:
    """The quickest of each of the same recalls, with notes held."""
    passes: list[Recalled] = []
    for _ in range(PASSES):
        passes.append(Recalled(many, held=True))
        order, played = random.Random(1), messages(_PLAYER, 3)
        with undisturbed(), collector_at_rest():
            for number in range(20 if pace.quick else 300):
                passes[-1].recall(order.randrange(many) + 1, played[number % 2])
                rested(passes[-1:])
    switching = [*map(min, *(each.switching for each in passes))]
    return _row(switching, [*map(min, *(each.routing for each in passes))])


def _row(switching: Sequence[int], routing: Sequence[int]) -> dict[str, float]:
    return {
        **_spread(routing),
        **{f"command {part}": each for part, each in percentiles(switching).items() if part in ("p50", "p99")},
    }


def _spread(took: Sequence[int]) -> dict[str, float]:
    """How long each of these took until it was done, and how far they spread."""
    found = percentiles(took)
    return {f"routes again {part}": each for part, each in found.items()} | {
        _SPREAD: ratio(found["p99"], found["p50"]) or 0
    }


def _make_alike(fixed: FixedWork, playing: Recalled) -> None:
    """Let fixed work take as long as a recall of this show, which is recalled a few times for that."""
    played = messages(_PLAYER, 3)
    for number in range(20):
        playing.recall(number % playing.many + 1, played[number % 2])
        rested([playing])
        fixed.turn()
        rested([playing])
    fixed.last(statistics.median(playing.routing))
    playing.routing.clear()
    playing.switching.clear()


def _scenes(many: int) -> str:
    return f"{many:,} scene{'s' * (many > 1)}"


def _holding(playing: Show, reader: Handed) -> tuple[Show, Handed]:
    """The same show once its inputs hold keys down, with a pedal and a bend that must neither be lifted nor rest."""
    for source in range(_INPUTS):
        channel = source % 16
        moved = [bytes((0xB0 | channel, number, 100)) for number in (1, 11, 64)]
        keys = [bytes((0x90 | channel, 48 + key, 100)) for key in range(SOUNDING // _INPUTS)]
        reader.arrivals = [(playing.clock(), source, each) for each in (*moved, bytes((0xE0 | channel, 0, 80)), *keys)]
        playing.pump()
    held = playing.engine.state.ledger.sounding()
    assert held == SOUNDING, f"{held} notes sound"
    return playing, reader


def _quiet(scenes: int) -> tuple[Show, Handed]:
    reader: Any = Handed()
    outputs: Any = {f"out{o}": Swallowing(o) for o in range(OUTPUTS)}
    playing = Show(read(show(scenes, _INPUTS, 2), "bench"), OpenPorts({}, outputs), reader)
    playing.apply(RecallScene(1))
    return playing, reader


def played_live(
    playing: Show, inbox: InputReader, seconds: float, act: Callable[[], Awaitable[None]], scheduling: list[str]
) -> None:
    """The show with its reader, and something that acts on it again and again, as `bayleaf run` would have it."""

    async def play() -> None:
        with ExitStack() as stack:
            scheduling.append(stack.enter_context(undisturbed()))
            stack.enter_context(collector_at_rest())
            inbox.start(waker(playing))
            await trio.sleep(0.5)
            with trio.move_on_after(seconds):
                while True:
                    await act()
            inbox.stop()
            playing.pump()  # what was read last

    music_loop.run(play)


def held_up(pace: Pace, result: Result) -> None:
    """Notes at full DIN rate, a recall every 20 ms: those that waited for a recall, and all others."""
    outputs: Any = [Noting(o) for o in range(OUTPUTS)]
    player: Any = Scheduled(_PLAYER, played(_PLAYER, "warm"))
    inputs = {f"in{_PLAYER}": player}
    inbox = InputReader({_PLAYER: player})
    patch = OpenPorts(inputs, {f"out{o}": outputs[o] for o in range(OUTPUTS)})
    playing = Show(read(show(64, INPUTS, 3), "bench"), patch, inbox)
    spans = Spans()
    playing.latency = Latency(spans.add)
    order, recalled, scheduling = random.Random(2), list[tuple[int, int]](), list[str]()

    async def act() -> None:
        begin = time.monotonic_ns()
        playing.apply(RecallScene(order.randrange(64) + 1))
        recalled.append((begin, time.monotonic_ns()))
        await trio.sleep(0.02)

    playing.apply(RecallScene(1))
    played_live(playing, inbox, pace.seconds(6), act, scheduling)
    waiting, others = _sorted_out(spans, recalled)
    rows = {"kept waiting by a recall": percentiles(waiting), "all others": percentiles(others)}
    usual = rows["all others"]["p50"]
    result.figures["extra wait"] = rows["kept waiting by a recall"]["worst"] - usual
    result.figures["strays"] = float(abs(_notes(player.given) - sum(port.notes for port in outputs)))
    note = (
        f"µs from reading to the driver, 1,041 messages per second, {len(recalled)} recalls among 64 scenes, "
        f"{len(waiting)} messages waited for one; {scheduling[0]}. "
        f"Notes lost or doubled: {result.figures['strays']:.0f}."
    )
    own = "kept waiting by a recall"
    result.tables.append(beside(own, rows, ("p50", "p99", "worst"), "Notes beside recalls", note))


def _sorted_out(spans: Spans, recalled: Sequence[tuple[int, int]]) -> tuple[list[int], list[int]]:
    """Latencies of messages that were on their way during a recall, and of all others."""
    waiting: list[int] = []
    others: list[int] = []
    upcoming = 0
    for sent_at, took in zip(spans.sent_at, spans.all, strict=True):
        while upcoming < len(recalled) and recalled[upcoming][1] < sent_at - took:
            upcoming += 1
        met = upcoming < len(recalled) and recalled[upcoming][0] < sent_at
        (waiting if met else others).append(took)
    return waiting, others


def _notes(given: int) -> int:
    """Of three messages two are notes: press, release, controller."""
    return given // 3 * 2 + min(given % 3, 2)


def bursts(pace: Pace, result: Result) -> None:
    """Recalls with a burst for eight channels of one DIN cable, silent and full."""
    late: dict[str, list[float]] = {"silent cable": [], "full cable": []}
    for _ in pace.rounds(2):
        for name, listed in late.items():
            listed += _burst_turn(name == "full cable", pace.seconds(4))
    result.figures["burst over arithmetic"] = percentiles(late["full cable"], 1e6)["worst"]
    arithmetic = _arithmetic() / 1e6
    rows = {name: {**percentiles(listed, 1e6), "bursts": float(len(listed))} for name, listed in late.items()}
    note = (
        f"ms that the last instrument is ready later than calculated: {CHANNELS * 8} bytes × 320 µs + {SETTLE_MS} ms = "
        f"{arithmetic:.1f} ms after the command. Full: 1,041 other messages per second for the same cable."
    )
    title = "Bursts on a DIN cable, over their arithmetic"
    result.tables.append(beside("full cable", rows, ("p50", "worst"), title, note))


def _arithmetic() -> int:
    return CHANNELS * 8 * BYTE_NS + SETTLE_MS * 1_000_000


def _burst_turn(full: bool, seconds: float) -> list[float]:
    """For each burst, the ns beyond the calculated time."""
    lines = ["format = 1", *ports(INPUTS, 1, din=(0,))]
    for channel in range(CHANNELS):
        lines += [f"[instruments.gear{channel}]", 'output = "out0"', f"channel = {channel + 1}"]
        lines += ['bank = "msb lsb"', f'settle = "{SETTLE_MS} ms"']
    for number in range(1, 9):
        lines += scene(number, [route(_BESIDE, 0, 2)], CHANNELS)
    cable: Any = Cable(0)
    player: Any = Scheduled(_BESIDE, played(_BESIDE, "warm"))
    inputs = {f"in{_BESIDE}": player} if full else {}
    inbox = InputReader({_BESIDE: player} if full else {})
    playing = Show(read("\n".join(lines), "bench"), OpenPorts(inputs, {"out0": cable}), inbox)
    recalled: list[int] = []

    async def act() -> None:
        recalled.append(time.monotonic_ns())
        playing.apply(RecallScene(len(recalled) % 8 + 1))
        await trio.sleep(0.12)

    played_live(playing, inbox, seconds, act, [])
    found: list[float] = []
    for begin, end in pairwise(recalled):
        programs = [at for at in cable.programs if begin <= at < end]
        assert len(programs) == CHANNELS, "each burst is through before the next"
        found.append(max(programs) + SETTLE_MS * 1_000_000 - begin - _arithmetic())
    return found


def run(pace: Pace) -> Result:
    """Measure."""
    result = Result()
    recalls(pace, result)
    held_up(pace, result)
    bursts(pace, result)
    return result
