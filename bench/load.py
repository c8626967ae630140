"""The load of the benches: what players play, the rig that routes it, and ports in memory for both.

The large rig: 24 inputs with 1,041 three-byte messages per second each (a full DIN cable, MIDI 1.0 p. 1) into 32
outputs, each message through a transposition and a channel map. Other numbers of filters and ports are possible.
"""

import time
from array import array
from collections.abc import Callable, Sequence
from functools import cache
from typing import Final

from engine.midi.byte_stream import StreamParser
from engine.ports.port import DriverFlow
from engine.rig.models.rig import Rig
from engine.rig.read.load import read

INPUTS: Final = 24
OUTPUTS: Final = 32
RATE: Final = 1041  # messages per second of an input
SECOND: Final = 1_000_000_000
WARM: Final = 3 * 48 * 8  # different messages of one input before they repeat, as a player's do
COLD: Final = 3 * 48 * 64  # more than a turn uses
SHORT: Final = 2  # filters of a short chain: a transposition and a channel map

PARTS: Final = {"p50": 0.5, "p99": 0.99, "p99.9": 0.999, "worst": 1.0}
#: controllers of even and odd inputs, and of each group of 16, one for each channel: neighbours differ
_CONTROLLERS: Final = ((1, 11), (2, 12), (16, 17), (18, 19))


def messages(source: int, count: int) -> list[bytes]:
    """Notes, releases and controllers of one input, with all different keys and values in turn.

    Neighbours, and inputs that share a channel, differ: what one message is turned into is never what the next input
    plays at that time, as that would look like a loop.
    """
    channel, bank = source % 16, source // 16 % len(_CONTROLLERS)
    controller, release_velocity = _CONTROLLERS[bank][source % 2], 64 - 2 * bank - source % 2
    made = []
    for index in range(count):
        key = 36 + (index // 3 + 5 * bank) % 48
        made.append(
            (
                bytes((0x90 | channel, key, 1 + (index + 40 * bank) % 127)),
                bytes((0x80 | channel, key, release_velocity)),
                bytes((0xB0 | channel, controller, index % 128)),
            )[index % 3]
        )
    return made


def ever_new(source: int, count: int) -> list[bytes]:
    """The same, but the first 7,000 messages are all different; neighbours differ likewise."""
    channel, bank = source % 16, source // 16
    numbers = range(12, 32) if source % 2 else range(70, 90)  # of 128 values each
    made = []
    for index in range(count):
        place = index // 3
        key, value = 36 + (place + 5 * bank) % 48, place // 48 + 40 * bank
        number = numbers[(place + 5 * bank) % len(numbers)]
        made.append(
            (
                bytes((0x90 | channel, key, 1 + value % 127)),
                bytes((0x80 | channel, key, value % 128)),
                bytes((0xB0 | channel, number, (place // len(numbers) + 40 * bank) % 128)),
            )[index % 3]
        )
    return made


@cache
def played(source: int, memory: str, inputs: int = INPUTS) -> list[bytes]:
    """What an input plays over and over: "warm", few enough messages for the engine to cache all of them, or "cold"."""
    return ever_new(source, COLD) if memory == "cold" else messages(source, WARM if inputs <= INPUTS else WARM // 2)


class Scheduled:
    """An input in memory with messages due at an even rate; they arrive when they are polled."""

    stream = StreamParser()  # no message needs repair

    def __init__(self, source: int, cycle: Sequence[bytes], rate: int = RATE) -> None:
        self.name = f"in {source + 1}"
        self.rate = rate
        self._messages = cycle
        self.given = 0
        self._begin = 0  # set by the first poll, so that starting up does not count

    def poll(self) -> list[bytes]:
        """See InputPort."""
        if not self._begin:
            self._begin = time.monotonic_ns()
        due = (time.monotonic_ns() - self._begin) * self.rate // SECOND
        got = [self._messages[index % len(self._messages)] for index in range(self.given, due)]
        self.given = max(self.given, due)
        return got

    def due(self, place: int) -> int:
        """When the message at this place (from 0) is due (monotonic ns)."""
        return self._begin + -(-(place + 1) * SECOND // self.rate)

    def close(self) -> None:
        """See InputPort."""


class Swallowing:
    """An output in memory that counts."""

    flow: DriverFlow | None = None
    longest: int | None = None

    def __init__(self, index: int) -> None:
        self.name = f"out {index + 1}"
        self.sent = 0

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self.sent += 1

    def check(self) -> None:
        """See OutputPort."""

    def close(self) -> None:
        """See OutputPort."""


class Noting(Swallowing):
    """One that also notes when each message was handed over."""

    def __init__(self, index: int) -> None:
        super().__init__(index)
        self.handed = array("q")

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self.sent += 1
        self.handed.append(time.monotonic_ns())


class MemoryPorts:
    """Ports inside the process. An input's own output gets each of its messages, one for one and in their order."""

    def __init__(self, memory: str = "warm", inputs: int = INPUTS, outputs: int = OUTPUTS, rate: int = RATE) -> None:
        self.inputs = [Scheduled(i, played(i, memory, inputs), rate) for i in range(inputs)]
        self.outputs = [Noting(i) if i < inputs else Swallowing(i) for i in range(outputs)]

    @property
    def lost(self) -> int:
        """How many deliveries are missing, given what the inputs gave."""
        inputs, outputs = len(self.inputs), len(self.outputs)
        owed = sum(port.given * len(outputs_of(i, inputs, outputs)) for i, port in enumerate(self.inputs))
        return owed - sum(port.sent for port in self.outputs)

    def since_due(self, warm_up: float) -> list[int]:
        """For each message after the warm-up (s), how long after it was due it was handed over (ns)."""
        late: list[int] = []
        for source, output in zip(self.inputs, self.outputs, strict=False):
            if isinstance(output, Noting):
                skipped = round(warm_up * source.rate)
                late += [at - source.due(place) for place, at in enumerate(output.handed) if place >= skipped]
        return late

    def feed(self, seconds: float) -> None:
        """The inputs feed themselves."""

    def close(self) -> None:
        """There is nothing to release."""


class Samples:
    """Latencies: all of them, where a show keeps only the last few thousand."""

    def __init__(self) -> None:
        self.all = array("q")  # freeing it takes no time, unlike a long list
        self.add: Callable[[int], None] = self.all.append


def percentiles(times: Sequence[float], unit: float = 1000) -> dict[str, float]:
    """p50, p99, p99.9 and worst, in µs if the times are in ns."""
    ranked = sorted(times)
    last = len(ranked) - 1
    return {name: ranked[min(last, int(len(ranked) * part))] / unit if ranked else 0.0 for name, part in PARTS.items()}


def outputs_of(source: int, inputs: int = INPUTS, outputs: int = OUTPUTS) -> tuple[int, ...]:
    """Where an input's messages go: to its own output; those of the first inputs also to the remaining outputs."""
    return (source, inputs + source) if source < outputs - inputs else (source,)


def chain(source: int, filters: int) -> str:
    """This many stateless filters that let everything through; the first two change it."""
    kinds = (
        "{ filter = 'transpose', semitones = 12 }",
        f"{{ filter = 'channels', map = {{ {source % 16 + 1} = {(source + 1) % 16 + 1} }} }}",
        "{ filter = 'zone', notes = [0, 127] }",
        "{ filter = 'strip', kinds = ['poly_aftertouch'] }",
        "{ filter = 'controllers', drop = [9] }",
        "{ filter = 'transpose', semitones = 1 }",
        "{ filter = 'transpose', semitones = -1 }",
    )
    return ", ".join(kinds[index if index < 2 else 2 + (index - 2) % 5] for index in range(filters))


def rig_text(din: Sequence[int] = (), inputs: int = INPUTS, outputs: int = OUTPUTS, filters: int = SHORT) -> str:
    """This many inputs and outputs, the given ones on DIN cables, and this many filters on each route."""
    lines = ["format = 1", "[inputs]"]
    lines += [f'in{i} = {{ port = "in {i}" }}' for i in range(inputs)]
    cables = ["din" if i in din else "fast" for i in range(outputs)]
    lines += ["[outputs]", *(f'out{i} = {{ port = "out {i}", wire = "{cable}" }}' for i, cable in enumerate(cables))]
    lines += ["[[scenes]]", "number = 1", 'name = "Load"', "routes = ["]
    for i in range(inputs):
        to = [f"out{output}" for output in outputs_of(i, inputs, outputs)]
        lines.append(f"  {{ from = 'in{i}', to = {to}, through = [ {chain(i, filters)} ] }},")
    lines.append("]")
    return "\n".join(lines)


def rig(din: Sequence[int] = (), inputs: int = INPUTS, outputs: int = OUTPUTS, filters: int = SHORT) -> Rig:
    """The same, read."""
    return read(rig_text(din, inputs, outputs, filters), "bench")


def tail(times: Sequence[float], unit: float = 1000) -> dict[str, list[float]]:
    """The curve of a picture: pairs of "one time in N" and the time exceeded, in µs if the times are in ns."""
    ranked = sorted(times)
    shares = [2.0 * 10 ** (step / 8) for step in range(33)]
    kept = [share for share in shares if share <= len(ranked)]
    return {"one of": kept, "us": [ranked[int(len(ranked) * (1 - 1 / share))] / unit for share in kept]}
