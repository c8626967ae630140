"""A router that is played: time, what is played, what is sent, and which keys are down."""

from collections import Counter
from functools import cache
from typing import Any

from engine.core.cable.output_cable import Delivery
from engine.midi.controllers import HOLDING
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import command, engine_of, input_lost, recall
from tests.support.pit_engine import MS
from tests.support.receiver import Receiver

Key = tuple[int, int, int]  # input, channel, key


@cache
def _rig(text: str) -> Rig:
    """The rig of this text, which thousands of performances may play."""
    return read(text, "test")


class PlayedEngine:
    """A router, the time, all that was sent, and the keys that are down."""

    def __init__(self, rig: str, scene: int = 1) -> None:
        self.router = engine_of(_rig(rig))
        self.now = 0
        self.handed: list[tuple[int, Delivery]] = []
        self.down: Counter[Key] = Counter()
        self.pressed: set[tuple[int, bytes]] = set()  # pedals: input, status and controller
        self.take(recall(self.router, 0, scene))

    def perform(self, stream: list[tuple[int, str, Any, Any]]) -> None:
        """Play a stream; a release of a key that is not down is left out."""
        for wait, what, which, message in stream:
            self.wait(wait * MS)
            if what == "play":
                self.play(which, message)
            elif what == "chord":
                self.chord(which, *message)
            elif what == "let go":
                self.let_go(which)
            elif what == "recall":
                self.recall(which)
            elif what == "panic":
                self.panic()
            else:
                self.lose(which)

    def play(self, source: int, message: bytes) -> None:
        kind = message[0] & 0xF0
        if kind in (0x80, 0x90):
            key = (source, message[0] & 0x0F, message[1])
            pressed = kind == 0x90 and message[2] > 0
            if not pressed and not self.down[key]:
                return
            self.down[key] += 1 if pressed else -1
        if kind == 0xB0 and message[1] in HOLDING:
            (self.pressed.add if message[2] else self.pressed.discard)((source, message[:2]))
        self.take(self.router.receive(self.now, source, message))

    def recall(self, scene: int) -> None:
        self.take(recall(self.router, self.now, scene))

    def lose(self, source: int) -> None:
        for key in [key for key in self.down if key[0] == source]:
            del self.down[key]
        self.take(input_lost(self.router, self.now, source))

    def panic(self) -> None:
        self.take(command(self.router, self.now, "panic", None, "test")[1])

    def chord(self, source: int, channel: int, lowest: int) -> None:
        for key in range(lowest, lowest + 12):
            self.play(source, bytes((0x90 | channel, key, 90)))

    def let_go(self, *sources: int) -> None:
        """Release all keys of these inputs; of every input, if none is given."""
        for (source, channel, key), count in list(self.down.items()):
            for _ in range(count if source in sources or not sources else 0):
                self.play(source, bytes((0x80 | channel, key, 64)))

    def lift_pedals(self) -> None:
        """Lift every pedal that may hold notes."""
        for source, pedal in sorted(self.pressed):
            self.play(source, pedal + b"\0")

    def wait(self, length: int) -> None:
        end = self.now + length
        while self.router.due is not None and self.router.due <= end:
            self._tick(self.router.due)
        self.now = end

    def comes_to_rest(self) -> None:
        """Once every key and pedal is up nothing sounds, and in an empty scene (number 4) all is at rest."""
        self.let_go()
        self.lift_pedals()
        self.run_dry()
        assert [synth.held for synth in self.ears()] == [0, 0]
        assert self.router.state.ledger.sounding() == 0
        self.recall(4)
        self.run_dry()
        assert [synth.off_rest for synth in self.ears()] == [set(), set()]

    def run_dry(self) -> None:
        for _ in range(100_000):
            if self.router.due is None or not self.router.waiting:
                return
            self._tick(self.router.due)
        raise AssertionError("the wires never run dry")

    def _tick(self, due: int) -> None:
        self.now = max(self.now, due)
        self.take(self.router.tick(self.now))
        assert self.router.due is None or self.router.due > self.now, "tick must not ask to be called again at once"

    def take(self, out: list[Delivery]) -> None:
        self.handed += [(self.now, delivery) for delivery in out]

    def heard(self, output: int) -> list[tuple[int, bytes, int]]:
        """What one output was sent: (time sent, message, time its first byte is on the cable)."""
        return [(at, message, sent) for at, (to, message, sent) in self.handed if to == output]

    def ears(self) -> list[Receiver]:
        """The state of a synth at each output."""
        synths = [Receiver(), Receiver()]
        for _, (output, message, _) in self.handed:
            synths[output].hear(message)
        return synths
