"""Cables that lead from outputs back to inputs, in virtual time."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import cycle

from engine.core.cable.output_cable import Delivery
from engine.core.commands import MessagesWait
from engine.core.engine import Engine
from engine.core.routing.loops import QUESTION
from tests.support.engine_calls import apply, recall
from tests.support.pit_engine import MS
from tests.support.receiver import Receiver


@dataclass
class Cable:
    """What goes out at `output` comes in at `source` after a delay in milliseconds; the delays are used in turn."""

    output: int
    source: int
    delays: tuple[float, ...]
    plugged: bool = True

    def __post_init__(self) -> None:
        self.next_delay = cycle(int(delay * MS) for delay in self.delays)


@dataclass
class FeedbackCables:
    """A router with cables around it. `heard` is what each output was given: (time, message).

    `each`: how long (ns) the computer is busy with a message that comes in; later ones wait meanwhile.
    """

    router: Engine
    cables: list[Cable]
    now: int = 0
    heard: dict[int, list[tuple[int, bytes]]] = field(default_factory=dict)
    found: list[tuple[int, str, str]] = field(default_factory=list)  # time, input, sentence
    each: int = 0

    def __post_init__(self) -> None:
        self.coming: list[tuple[int, int, int, bytes, bool]] = []
        self._count = 0
        self._told_wait = -10 * MS
        self.take(recall(self.router, 0, 1))

    def plan(self, at: float, source: int, message: bytes) -> None:
        """A player will play this at this time, in milliseconds from the start."""
        self._arrive(int(at * MS), source, message, False)

    def play(self, source: int, message: bytes) -> None:
        """A player plays this now."""
        self.take(self.router.receive(self.now, source, message))

    def run(self, until: float) -> None:
        """Let time pass, to this many milliseconds after the start."""
        end = int(until * MS)
        for _ in range(150_000):
            due = self.router.due
            arrives = self.coming[0][0] if self.coming else None
            following = min((each for each in (due, arrives) if each is not None), default=None)
            if following is None or following > end:
                self.now = end
                return
            self.now = max(self.now, following)
            if due is not None and due <= self.now:
                self.take(self.router.tick(self.now))
            else:
                came, _, source, message, _ = heappop(self.coming)
                self._tell_wait(self.now - came)
                self.take(self.router.receive(self.now, source, message))
                self.now += self.each
        raise AssertionError("more messages than anybody could play: the loop feeds itself")

    def _tell_wait(self, on_the_way_in: int) -> None:
        """As a show does."""
        wait = on_the_way_in + self.router.longest_wait
        if wait > 5 * MS and self.now - self._told_wait >= 10 * MS:
            self._told_wait = self.now
            apply(self.router, self.now, MessagesWait(wait))

    def take(self, deliveries: Iterable[Delivery]) -> None:
        """The drivers get these."""
        for output, message, sent in deliveries:
            self.heard.setdefault(output, []).append((self.now, message))
            for cable in self.cables:
                if cable.output == output and cable.plugged:
                    self._arrive(max(sent, self.now) + next(cable.next_delay), cable.source, message, True)
        while self.router.reports.news:
            port, sentence = self.router.reports.news.pop(0)
            self.found.append((self.now, port, sentence))

    def _arrive(self, at: int, source: int, message: bytes, returned: bool) -> None:
        self._count += 1
        heappush(self.coming, (at, self._count, source, message, returned))

    def messages(self, output: int) -> list[bytes]:
        """What an output was given, in order, without the router's own probe messages."""
        return [message for _, message in self.heard.get(output, []) if not message.startswith(QUESTION)]

    def ears(self, outputs: int = 2) -> list[Receiver]:
        """A synth at each output."""
        synths = [Receiver() for _ in range(outputs)]
        for output, synth in enumerate(synths):
            for message in self.messages(output):
                synth.hear(message)
        return synths
