"""Random MPE performances over scene changes, mutes, panics and pulled cables, with a judge of what is heard.

`python -m tests.support.mpe_performances 10000 700` plays as many, from seed 700 on (0 if it is left out), and says
what is wrong with which seed.
"""

import random
import re
import sys
from collections.abc import Callable
from typing import Final, NamedTuple

from tests.support.mpe_port import MpePort
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

GRID, SECOND, KEYS = range(3)
WIDE, BOX = range(2)
_CENTS: Final = 0.02  # semitones: an input's value is rounded once, and an instrument's once more

_RIG: Final = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, GRID] } }
second = { port = "b", mpe = { members = [SECOND, 15], bend = 24 } }
keys = { port = "c" }
[outputs]
wide = { port = "d" }
box = { port = "e" }
[instruments.wide]
output = "wide"
mpe = { members = [2, WIDE], bend = 72 }
[instruments.box]
output = "box"
channel = 3
setup = ["pitch bend range 12"]
[[scenes]]
number = 1
name = "All on one"
play = [{ from = "grid", on = "wide" }, { from = "second", on = "wide" }, { from = "keys", on = "wide" }]
[[scenes]]
number = 2
name = "Split"
play = [
  { from = "grid", on = "wide", notes = "..B3", transpose = 12, name = "low" },
  { from = "grid", on = "box", notes = "C4.." },
  { from = "second", on = "wide", transpose = -5 },
]
[[scenes]]
number = 3
name = "Ordinary"
play = [{ from = ["grid"], on = "box" }, { from = "keys", on = "wide" }]
[[scenes]]
number = 4
name = "Silence"
[[scenes]]
number = 5
name = "Cut"
held = "cut"
play = [{ from = "second", on = "wide" }, { from = "keys", on = "wide", transpose = 7 }]
"""
#: scene -> input -> how its notes reach the wide instrument: lowest and highest key, and semitones
_WIDE_LINES: Final = {
    1: {GRID: (0, 127, 0), SECOND: (0, 127, 0), KEYS: (0, 127, 0)},
    2: {GRID: (0, 59, 12), SECOND: (0, 127, -5)},
    3: {KEYS: (0, 127, 0)},
    4: {},
    5: {SECOND: (0, 127, 0), KEYS: (0, 127, 7)},
}
_MANAGERS: Final = {GRID: 1, SECOND: 16}
_RANGES: Final = {GRID: 48, SECOND: 24}


class Stage(NamedTuple):
    """How many members the grid and the second controller have, how many keys are down at once on the keyboard, and so
    how many members the wide instrument needs."""

    grid: int
    second: int
    keys: int

    @property
    def rig(self) -> str:
        """With as many members; where there are few, each is soon another player's."""
        last = {"GRID": 1 + self.grid, "SECOND": 16 - self.second, "WIDE": 1 + sum(self)}
        return re.sub("|".join(last), lambda name: str(last[name[0]]), _RIG)

    @property
    def members(self) -> dict[int, range]:
        """By input."""
        return {GRID: range(2, 2 + self.grid), SECOND: range(16 - self.second, 16)}


#: a stage, and how often scenes are recalled; a performance has one of these by its seed
_STAGES: Final = ((Stage(1, 2, 1), 0), (Stage(3, 3, 2), 1), (Stage(5, 5, 4), 2))


class HeldNote(NamedTuple):
    """A key that is down: its input, channel (1 to 16) and key, and as which key it plays the wide instrument."""

    source: int
    channel: int
    key: int
    wide: int | None


class MpePerformance:
    """One performance. AssertionError at the first fault."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._stage, self._recalls = _STAGES[seed % len(_STAGES)]
        self._engine = PlayedEngine(self._stage.rig)
        self._modules = [MpePort(), MpePort()]
        self._heard = 0
        self._scene = 1
        self._held: list[HeldNote] = []
        self._bends: dict[tuple[int, int], float] = {}  # input and channel -> semitones
        self._shapes: dict[tuple[int, bytes], int] = {}  # input, and what names a pressure or a timbre -> its value

    def play(self, length: int) -> None:
        """So many things happen; at each moment the wide instrument is bent, pressed and bright as the fingers say."""
        happenings: tuple[Callable[[], None], ...]
        happenings = (self._press,) * 6 + (self._release,) * 5 + (self._bend,) * 6 + (self._shape,) * 4
        happenings += (self._recall,) * self._recalls + (self._wait, self._seldom)
        for _ in range(length):
            self._random.choice(happenings)()
            self._listen()
            self._judge()

    def end(self) -> None:
        """All hands and feet are lifted; then, in an empty scene, all is at rest."""
        while self._held:
            self._up(self._held[0])
        for source, channel in self._bends:
            self._play(source, bytes((0xE0 | channel - 1, 0, 64)), bytes((0xD0 | channel - 1, 0)))
        self._engine.lift_pedals()
        self._engine.wait(20 * MS)
        self._listen()
        assert not any(module.sounding for module in self._modules), "a note hangs"
        self._engine.recall(4)
        self._engine.wait(2_000 * MS)
        self._listen()
        assert all(module.at_rest for module in self._modules), "something is bent or pressed"
        assert not any(module.refused for module in self._modules)
        assert self._engine.router.state.ledger.sounding() == 0

    # What happens

    def _press(self) -> None:
        source = self._random.choice((GRID, SECOND, KEYS))
        taken = {(note.channel, note.key) for note in self._held if note.source == source}
        if source == KEYS:
            if len(taken) < self._stage.keys:
                self._down(source, 1, self._free({key for _, key in taken}))
            return
        free = [member for member in self._stage.members[source] if member not in {channel for channel, _ in taken}]
        if free:
            channel = self._random.choice(free)
            self._bend_to(source, channel, self._random.randint(0, 16383))
            self._down(source, channel, self._free(set()))

    def _free(self, taken: set[int]) -> int:
        return self._random.choice([key for key in range(50, 70) if key not in taken])

    def _down(self, source: int, channel: int, key: int) -> None:
        line = _WIDE_LINES[self._scene].get(source)
        reached = line is not None and line[0] <= key <= line[1]
        self._held.append(HeldNote(source, channel, key, key + line[2] if line is not None and reached else None))
        self._play(source, bytes((0x90 | channel - 1, key, self._random.randint(1, 127))))

    def _release(self) -> None:
        if self._held:
            self._up(self._random.choice(self._held))

    def _up(self, note: HeldNote) -> None:
        self._held.remove(note)
        self._shapes.pop((note.source, bytes((0xA0 | note.channel - 1, note.key))), None)
        self._play(note.source, bytes((0x80 | note.channel - 1, note.key, 64)))

    def _bend(self) -> None:
        if self._held:
            note = self._random.choice(self._held)
            self._bend_to(note.source, note.channel, self._random.randint(0, 16383))

    def _bend_to(self, source: int, channel: int, value: int) -> None:
        self._bends[source, channel] = _RANGES.get(source, 2) * (value - 8192) / 8192
        self._play(source, bytes((0xE0 | channel - 1, value & 0x7F, value >> 7)))

    def _shape(self) -> None:
        """Pressure, timbre and pedals: of fingers, managers and keys."""
        source = self._random.choice((GRID, SECOND, KEYS))
        channel, value = 1, self._random.randint(0, 127)
        if source != KEYS:
            channel = self._random.choice((_MANAGERS[source], *self._stage.members[source]))
        pressed = [note.key for note in self._held if note.source == KEYS]
        kinds = [bytes((0xD0, value)), bytes((0xB0, 74, value))]
        if source == KEYS and pressed:
            kinds.append(bytes((0xA0, self._random.choice(pressed), value)))
        if channel in (1, 16):
            kinds.append(bytes((0xB0, 64, value)))
        message = self._random.choice(kinds)
        self._bends.setdefault((source, channel), 0)
        self._play(source, bytes((message[0] | channel - 1,)) + message[1:])

    def _recall(self) -> None:
        before, self._scene = self._scene, self._random.randint(1, 5)
        self._engine.recall(self._scene)
        if self._scene == 5 != before:  # recalled again it cuts nothing
            self._held = [note._replace(wide=None) for note in self._held]

    def _wait(self) -> None:
        self._engine.wait(self._random.choice((1, 20, 700)) * MS)

    def _seldom(self) -> None:
        what = self._random.choice(("panic", "lose", "announce", "wait", "wait"))
        if what == "panic":
            self._engine.panic()
            self._held = [note._replace(wide=None) for note in self._held]
        elif what == "lose":
            self._lose(self._random.choice((GRID, SECOND, KEYS)))
        elif what == "announce":
            self._announce()

    def _lose(self, source: int) -> None:
        self._engine.lose(source)
        self._held = [note for note in self._held if note.source != source]
        self._bends = {place: bend for place, bend in self._bends.items() if place[0] != source}
        self._shapes = {place: value for place, value in self._shapes.items() if place[0] != source}

    def _announce(self) -> None:
        """The grid says that it has what the rig says; nothing changes."""
        self._play(
            GRID, *(bytes((0xB0, number, value)) for number, value in ((101, 0), (100, 6), (6, self._stage.grid)))
        )

    # What is heard

    def _play(self, source: int, *messages: bytes) -> None:
        for message in messages:
            if message[0] & 0xF0 in (0xA0, 0xB0, 0xD0):
                self._shapes[source, message[:-1]] = message[-1]
            self._engine.play(source, message)

    def _listen(self) -> None:
        for _, (output, message, _) in self._engine.handed[self._heard :]:
            self._modules[output].hear(message)
        self._heard = len(self._engine.handed)

    def _judge(self) -> None:
        """Every finger's note sounds on the wide instrument as high as the finger bends it."""
        wanted = sorted(
            note.wide + self._bends.get((note.source, note.channel), 0) for note in self._held if note.wide is not None
        )
        found = self._modules[WIDE].pitches()
        close = len(found) == len(wanted) and all(
            abs(one - other) <= _CENTS for one, other in zip(found, wanted, strict=True)
        )
        assert close, f"scene {self._scene}: {found} sound, and {wanted} are played by {self._held}"
        shapes = sorted(self._shape_of(note, note.wide) for note in self._held if note.wide is not None)
        heard = self._modules[WIDE].shapes()
        assert heard == shapes, f"scene {self._scene}: {heard} sound, and {shapes} are played by {self._held}"

    def _shape_of(self, note: HeldNote, key: int) -> tuple[int, int, int]:
        """As `MpePort.shapes`, as this finger shapes it; a key of the keyboard has a pressure of its own, too."""
        channel = note.channel - 1
        pressures = [bytes((0xD0 | channel,))] + [bytes((0xA0 | channel, note.key))] * (note.source == KEYS)
        pressure = max(self._shapes.get((note.source, each), 0) for each in pressures)
        return key, pressure, self._shapes.get((note.source, bytes((0xB0 | channel, 74))), 64)


def play(seed: int, length: int = 60) -> None:
    """One performance from its beginning to its end."""
    performance = MpePerformance(seed)
    performance.play(length)
    performance.end()


def main(count: int, first: int = 0) -> None:
    """Play as many performances, from this seed on."""
    wrong = 0
    for seed in range(first, first + count):
        try:
            play(seed)
        except AssertionError as fault:
            wrong += 1
            print(f"seed {seed}: {fault}", flush=True)
    print(f"{count} performances, seeds {first} to {first + count - 1}, {wrong} with a fault")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
