"""A network in memory: links that keep the promises of `engine.cluster.link.link`, and machines that can be cut off.

There are no threads and nothing takes time: what is published arrives before `publish` returns, unless the net is held
(`hold`); then everything arrives in order when the hold ends. A question to a machine that is cut off is not answered.
An exception in a test's callback is raised, where a real link counts it.
"""

from collections import Counter, deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

from engine.cluster.link.link import Changed, Heard, Reply, TooMuch, nothing


class FakeNet:
    """All links of one test. All machines reach each other, unless one is cut off or two are parted."""

    def __init__(self) -> None:
        self.links: list[FakeLink] = []
        self.sent: Counter[str] = Counter()  # messages by key
        self._cut: set[str] = set()
        self._parted: set[frozenset[str]] = set()
        self._waiting: deque[Callable[[], None]] | None = None

    def link(self, machine: str) -> "FakeLink":
        """A new link of a machine; a machine may have several, one after the other."""
        self.links.append(FakeLink(self, machine))
        return self.links[-1]

    def cut(self, machine: str) -> None:
        """Pull a machine's cable: its tokens vanish for the others, and theirs for it."""
        self._change(lambda: self._cut.add(machine))

    def mend(self, machine: str) -> None:
        """Put the cable back."""
        self._change(lambda: self._cut.discard(machine))

    def part(self, one: str, other: str) -> None:
        """Two machines no longer hear each other; others hear both."""
        self._change(lambda: self._parted.add(frozenset((one, other))))

    def join(self, one: str, other: str) -> None:
        """They hear each other again."""
        self._change(lambda: self._parted.discard(frozenset((one, other))))

    def reaches(self, one: str, other: str) -> bool:
        """Whether what one machine publishes arrives at the other."""
        return not {one, other} & self._cut and frozenset((one, other)) not in self._parted

    @contextmanager
    def hold(self) -> Iterator[None]:
        """Within the block nothing arrives; at its end everything does, in order. Tokens and questions are not held."""
        self._waiting = deque()
        try:
            yield
        finally:
            waiting, self._waiting = self._waiting, None
            while waiting:
                waiting.popleft()()

    def carry(self, sender: "FakeLink", key: str, payload: bytes) -> None:
        """Bring a message to all links that it reaches."""
        self.sent[key] += 1
        for link in self.others(sender):
            if self._waiting is None:
                link.hear(key, payload)
            else:
                self._waiting.append(partial(link.hear, key, payload))

    def others(self, link: "FakeLink") -> list["FakeLink"]:
        """The open links that a link reaches."""
        return [
            each
            for each in self.links
            if each is not link and each.open and link.open and self.reaches(each.machine, link.machine)
        ]

    def _change(self, change: Callable[[], None]) -> None:
        before = {id(link): self.others(link) for link in self.links}
        change()
        for link in self.links:
            now = self.others(link)
            for other in before[id(link)]:
                if other not in now:
                    link.see(sorted(other.tokens), False)
            for other in now:
                if other not in before[id(link)]:
                    link.catch_up(other)
                    link.see(sorted(other.tokens), True)


class FakeLink:
    """One machine's link; see `engine.cluster.link.link.Link`."""

    def __init__(self, net: FakeNet, machine: str) -> None:
        self.net = net
        self.machine = machine
        self.open = True
        self.lost = 0
        self.faults = 0
        self.tokens: set[str] = set()
        self.kept: dict[str, bytes] = {}
        self._subscribed: list[tuple[str, Heard]] = []
        self._states: list[tuple[str, Heard]] = []
        self._watched: list[tuple[str, Changed]] = []
        self._answers: dict[str, Reply] = {}

    def publish(self, key: str, payload: bytes, bulk: bool = False) -> None:
        if self.open:
            self.net.carry(self, key, payload)
        else:
            self.lost += 1

    def hint(self, key: str, payload: bytes) -> None:
        self.publish(key, payload)

    def subscribe(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        self._subscribed.append((key, heard))

    def keep(self, key: str, payload: bytes) -> None:
        self.kept[key] = payload
        self.publish(key, payload)

    def subscribe_state(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        self._states.append((key, heard))
        for other in self.net.others(self):
            if key in other.kept:
                heard(key, other.kept[key])

    def alive(self, key: str) -> None:
        if key not in self.tokens and self.open:
            self.tokens.add(key)
            for other in self.net.others(self):
                other.see([key], True)

    def gone(self, key: str) -> None:
        if key in self.tokens:
            self.tokens.discard(key)
            for other in self.net.others(self):
                other.see([key], False)

    def watch(self, key: str, changed: Changed) -> None:
        self._watched.append((key, changed))
        for token in self.present(key):
            changed(token, True)

    def present(self, key: str) -> list[str]:
        return sorted(token for other in self.net.others(self) for token in other.tokens if matches(key, token))

    def answer(self, key: str, reply: Reply) -> None:
        self._answers[key] = reply

    def ask(self, key: str, payload: bytes, timeout_s: float = 0.3) -> list[bytes]:
        answers = [other._answers[key](payload) for other in self.net.others(self) if key in other._answers]
        return [answer for answer in answers if answer is not None]

    def close(self) -> None:
        """End as a process does, in whatever way: the others see its tokens go."""
        others = self.net.others(self)
        self.open = False
        for other in others:
            other.see(sorted(self.tokens), False)

    # called by the net

    def hear(self, key: str, payload: bytes) -> None:
        """A message arrives, if the cable still holds."""
        for wanted, heard in [*self._subscribed, *self._states]:
            if self.open and matches(wanted, key):
                heard(key, payload)

    def see(self, keys: list[str], there: bool) -> None:
        """Tokens come or go."""
        for key in keys:
            for wanted, changed in self._watched:
                if self.open and matches(wanted, key):
                    changed(key, there)

    def catch_up(self, other: "FakeLink") -> None:
        """Receive the kept states of a machine that is back."""
        for key, heard in self._states:
            if key in other.kept:
                heard(key, other.kept[key])


def matches(wanted: str, key: str) -> bool:
    """Whether a key matches a key expression: `*` is any one part, `**` any number of parts at the end."""
    mine, its = wanted.split("/"), key.split("/")
    if mine[-1] == "**":
        mine, its = mine[:-1], its[: len(mine) - 1]
    return len(mine) == len(its) and all(one in ("*", other) for one, other in zip(mine, its, strict=True))
