"""Two engines that hear the same hands, and a machine that lends them its outputs: the first plays until it dies."""

from collections.abc import Callable
from typing import Final

from engine.cluster.pure.output_lender import Grant, OutputLender
from engine.core.cable.output_cable import Delivery
from engine.core.commands import FollowLeader, FollowShow
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.audible_receiver import AudibleReceiver, Part, message_of
from tests.support.engine_calls import adopt, apply, engine_of, mute, recall, settled
from tests.support.plain_connections import OUTPUTS, Hand, PlainShow

_BOTH: Final = {"desk", "spare"}


class EnginePair:
    """`heard`: what the lending machine's outputs make audible."""

    def __init__(self, show: PlainShow, scene: int = 1) -> None:
        self.show = show
        self.heard = AudibleReceiver()
        self._now = 0
        self._down: set[tuple[Hand, int]] = set()
        self._muted: set[str] = set()
        self._engines = [engine_of(read(show.text, "test"), remote=OUTPUTS) for _ in range(2)]
        self._lender = OutputLender(dict.fromkeys(OUTPUTS), started=0)
        self._in_charge = 0
        self._numbers: dict[str, int] = {}
        apply(self._engines[1], 0, FollowLeader("desk"))
        self._claim("desk")
        self.recall(scene)

    # What the hands do, and what is commanded

    def play(self, source: int, message: bytes) -> None:
        """Any message of an input."""
        for engine in self._engines[self._in_charge :]:
            engine.receive(self._now, source, message)
        self._deliver()

    def is_down(self, hand: Hand, key: int) -> bool:
        """See `random_gestures.Player`."""
        return (hand, key) in self._down

    def press(self, hand: Hand, key: int) -> None:
        """See `random_gestures.Player`."""
        self._down.add((hand, key))
        self.play(hand[0], bytes((0x90 | hand[1], key, 100)))

    def release(self, hand: Hand, key: int) -> None:
        """See `random_gestures.Player`."""
        self._down.discard((hand, key))
        self.play(hand[0], bytes((0x80 | hand[1], key, 64)))

    def move(self, hand: Hand, part: Part, value: int) -> None:
        """See `random_gestures.Player`."""
        self.play(hand[0], message_of(part, hand[1], value))

    def end(self, hand: Hand, number: int) -> None:
        """See `random_gestures.Player`."""
        self.play(hand[0], bytes((0xB0 | hand[1], number, 0)))

    def recall(self, scene: int) -> None:
        """See `random_gestures.Player`."""
        self._command(lambda engine: recall(engine, self._now, scene))

    def toggle(self, name: str) -> None:
        """See `random_gestures.Player`."""
        self._muted ^= {name}
        self._command(lambda engine: mute(engine, self._now, name, name in self._muted)[1])

    def edit(self, show: PlainShow) -> None:
        """See `random_gestures.Player`."""
        self.show = show
        for engine in self._engines[self._in_charge :]:
            adopt(engine, self._now, read(show.text, "test"), remote=OUTPUTS)
        self._deliver()

    def wait(self, length: int) -> None:
        """See `random_gestures.Player`."""
        end = self._now + length
        while (due := min(self._dues(), default=end + 1)) <= end:
            self._now = max(self._now, due)
            for engine in self._engines[self._in_charge :]:
                engine.tick(self._now)
            self._take(self._lender.tick(self._now))
            self._deliver()
        self._now = end

    def die(self) -> None:
        """The first engine is gone, and the second takes over."""
        self._in_charge = 1
        apply(self._engines[1], self._now, FollowLeader(None))
        self._claim("spare")
        self._deliver()

    # How it comes about

    def _dues(self) -> list[int]:
        dues = [engine.due for engine in self._engines[self._in_charge :]]
        return [due for due in (*dues, self._lender.due) if due is not None]

    def _command(self, obey: Callable[[Engine], list[Delivery]]) -> None:
        """The engine in charge obeys, the other learns where the show is, and both settle."""
        obey(self._engines[self._in_charge])
        if self._in_charge == 0:
            state, follower = self._engines[0].state, self._engines[1]
            follow = FollowShow(state.main.position, tuple(sorted(state.muted)))
            settled(follower, self._now, apply(follower, self._now, follow))
        self._deliver()

    def _claim(self, name: str) -> None:
        answer = self._lender.claim(name, _BOTH if name == "desk" else {"spare"})
        assert isinstance(answer, Grant)
        self._epoch = answer.epoch
        self._numbers = dict.fromkeys(OUTPUTS, 0)
        for cable in self._engines[self._in_charge].state.cables:
            assert cable.remote is not None
            cable.remote.lead(self._now)

    def _deliver(self) -> None:
        """The lending machine carries out what the engine in charge has ordered."""
        for name, cable in zip(OUTPUTS, self._engines[self._in_charge].state.cables, strict=True):
            assert cable.remote is not None
            orders = cable.remote.take_orders()
            self._take(self._lender.take(self._now, self._epoch, name, self._numbers[name], orders))
            self._numbers[name] += len(orders)

    def _take(self, sent: list[Delivery]) -> None:
        for output, message, _ in sent:
            self.heard.hear(self._now, output, message)
