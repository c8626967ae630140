"""How long a message takes from the reader to the driver's send, at the full load of 16 DIN inputs.

    python bench/forward.py [--seconds 10] [--rounds 3] [--jack] [--cold]

Sixteen inputs with 1,041 three-byte messages a second each (a full DIN cable), twenty outputs; each message through a
transposition and a channel map; inputs 1 to 4 also go to outputs 17 to 20. Three contenders take turns in one run:
Bayleaf's own show; a bare forwarder (a polling thread and a table of outputs, no filters); a naive chain of mido
objects in a polling thread. Without --jack the inputs are made by schedule inside the process and the outputs swallow
what they get; with it all ports are python-rtmidi ports on the JACK server that is running, fed by a second process.
"""

import argparse
import platform
import statistics
import subprocess
import sys
import threading
import time
from array import array
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import Any, Final

import mido
import trio

from engine.live.hygiene import collector_at_rest
from engine.live.inbox import Inbox
from engine.live.meters import Latency
from engine.live.patch import Patch
from engine.live.show import Show
from engine.ports.port import Flow, InputPort, OutputPort
from engine.rig.load import read
from engine.rig.models import Rig

INPUTS: Final = 16
OUTPUTS: Final = 20
RATE: Final = 1041  # messages a second of an input
POLL: Final = 0.00025
#: different messages of one input before they repeat: a player's, and more than a turn lasts
WARM: Final = 3 * 48 * 8
COLD: Final = 3 * 48 * 128
WARM_UP: Final = 3.0  # seconds of each turn that do not count: nobody's start is measured here


def messages(source: int, count: int) -> list[bytes]:
    """Notes, releases and controllers of one input, all different keys and values in turn.

    Neighbours differ: what one is turned into is never what the next one plays, for that would look like a loop.
    """
    channel = source % 16
    controller, release_velocity = ((1, 64), (11, 63))[source % 2]
    made = []
    for index in range(count):
        key = 36 + (index // 3) % 48
        made.append(
            (
                bytes((0x90 | channel, key, 1 + index % 127)),
                bytes((0x80 | channel, key, release_velocity)),
                bytes((0xB0 | channel, controller, index % 128)),
            )[index % 3]
        )
    return made


class Scheduled:
    """An input in memory on which messages are due at an even rate; they arrive when they are polled."""

    repairs = 0

    def __init__(self, source: int, cycle: int) -> None:
        self.name = f"in {source + 1}"
        self._messages = messages(source, cycle)
        self._given = 0
        self._begin = 0  # set by the first poll, so that nobody's start counts

    def poll(self) -> list[bytes]:
        if not self._begin:
            self._begin = time.monotonic_ns()
        due = (time.monotonic_ns() - self._begin) * RATE // 1_000_000_000
        got = [self._messages[index % len(self._messages)] for index in range(self._given, due)]
        self._given = max(self._given, due)
        return got

    def close(self) -> None:
        pass


class Swallowing:
    """An output in memory that counts."""

    flow: Flow | None = None
    longest: int | None = None

    def __init__(self, index: int) -> None:
        self.name = f"out {index + 1}"
        self.sent = 0

    def send(self, message: bytes) -> None:
        self.sent += 1

    def close(self) -> None:
        pass


class Samples(Latency):
    """Latencies: all of them, where a show keeps the last few thousand."""

    def __init__(self) -> None:
        super().__init__()
        self.all = array("q")  # dropping it takes no time, which a long list would

    def add(self, sample: int) -> None:
        self.all.append(sample)


def rig(din: Sequence[int] = ()) -> Rig:
    """Sixteen inputs and twenty outputs, those named here on DIN cables; a short chain on each route."""
    lines = ["format = 1", "[inputs]"]
    lines += [f'in{i} = {{ port = "in {i}" }}' for i in range(INPUTS)]
    wires = ["din" if i in din else "fast" for i in range(OUTPUTS)]
    lines += ["[outputs]", *(f'out{i} = {{ port = "out {i}", wire = "{wire}" }}' for i, wire in enumerate(wires))]
    lines += ["[[scenes]]", "number = 1", 'name = "Load"', "routes = ["]
    for i in range(INPUTS):
        to = [f"out{i}"] + ([f"out{INPUTS + i}"] if i < OUTPUTS - INPUTS else [])
        lines.append(
            f"  {{ from = 'in{i}', to = {to}, through = [ {{ filter = 'transpose', semitones = 12 }}, "
            f"{{ filter = 'channels', map = {{ {i + 1} = {(i + 1) % 16 + 1} }} }} ] }},"
        )
    lines.append("]")
    return read("\n".join(lines), "bench")


def outputs_of(source: int) -> tuple[int, ...]:
    return (source, INPUTS + source) if source < OUTPUTS - INPUTS else (source,)


def bayleaf(
    inputs: Sequence[InputPort],
    outputs: Sequence[OutputPort],
    seconds: float,
    samples: Samples,
    manners: Callable[[], AbstractContextManager[object]] = collector_at_rest,
) -> None:
    """The show as `bayleaf run` runs it, but at ordinary priority, as the others are; `manners` in its place."""

    async def play() -> None:
        loaded = rig()
        patch = Patch(
            {f"in{i}": port for i, port in enumerate(inputs)}, {f"out{i}": port for i, port in enumerate(outputs)}
        )
        inbox = Inbox(dict(enumerate(inputs)))
        show = Show(loaded, patch, inbox)
        show.latency = samples
        show.command("scene", 1)
        token = trio.lowlevel.current_trio_token()
        with manners():
            inbox.start(lambda: token.run_sync_soon(show.pump, idempotent=True))
            await trio.sleep(WARM_UP)
            del samples.all[:]
            await trio.sleep(seconds)
            inbox.stop()

    trio.run(play)


def polled(
    inputs: Sequence[InputPort], seconds: float, samples: Samples, forward: Callable[[int, bytes], None]
) -> None:
    """A thread that polls and forwards by itself."""

    def run() -> None:
        warm = time.monotonic() + WARM_UP
        end = warm + seconds
        cold = True
        while time.monotonic() < end:
            if cold and time.monotonic() > warm:
                del samples.all[:]
                cold = False
            now = time.monotonic_ns()
            for source, port in enumerate(inputs):
                for message in port.poll():
                    forward(source, message)
                    samples.add(time.monotonic_ns() - now)
            time.sleep(POLL)

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()


def bare(inputs: Sequence[InputPort], outputs: Sequence[OutputPort], seconds: float, samples: Samples) -> None:
    """No filters at all: a table from input to outputs."""
    table = [[outputs[o].send for o in outputs_of(i)] for i in range(INPUTS)]

    def forward(source: int, message: bytes) -> None:
        for send in table[source]:
            send(message)

    polled(inputs, seconds, samples, forward)


def naive(inputs: Sequence[InputPort], outputs: Sequence[OutputPort], seconds: float, samples: Samples) -> None:
    """Each message becomes a mido object, is copied with its changes, and becomes bytes again."""

    def forward(source: int, message: bytes) -> None:
        parsed = mido.Message.from_bytes(message)
        changed = parsed.copy(channel=(source + 1) % 16)
        if parsed.type in ("note_on", "note_off"):
            changed = changed.copy(note=parsed.note + 12)
        for output in outputs_of(source):
            outputs[output].send(bytes(changed.bytes()))

    polled(inputs, seconds, samples, forward)


CONTENDERS: Final[dict[str, Callable[..., None]]] = {"bayleaf": bayleaf, "bare forwarder": bare, "mido chain": naive}


def one_turn(name: str, seconds: float, jack: bool, cycle: int, **more: Any) -> dict[str, float]:
    """One contender for some seconds: latency in µs, CPU as a share of a core, deliveries, and what was lost."""
    samples = Samples()
    ports: Any = MemoryPorts(cycle) if not jack else JackPorts(cycle) if name == "bayleaf" else BarePorts(cycle)
    try:
        ports.feed(seconds)
        begin, cpu = time.monotonic(), time.process_time()
        CONTENDERS[name](ports.inputs, ports.outputs, seconds, samples, **more)
        used = (time.process_time() - cpu) / (time.monotonic() - begin)
    finally:
        ports.close()
    times = sorted(samples.all)
    at = {"p50": 0.5, "p99": 0.99, "p99.9": 0.999, "worst": 1.0}
    count = len(times)
    figures = {key: times[min(count - 1, int(count * part))] / 1000 for key, part in at.items()}
    return {**figures, "cpu": 100 * used, "messages/s": count / seconds}


class MemoryPorts:
    """Ports inside the process."""

    def __init__(self, cycle: int) -> None:
        self.inputs = [Scheduled(i, cycle) for i in range(INPUTS)]
        self.outputs = [Swallowing(i) for i in range(OUTPUTS)]

    def feed(self, seconds: float) -> None:
        """The inputs feed themselves."""

    def close(self) -> None:
        """Nothing is held."""


class JackPorts:
    """python-rtmidi ports on the running JACK server, and a process that feeds them."""

    def __init__(self, cycle: int) -> None:
        from engine.ports.open import open_system

        self._cycle = cycle
        self._system = open_system("jack", "bench")
        self.inputs: list[Any] = [self._system.open_virtual_input(f"bench-in{i}") for i in range(INPUTS)]
        self.outputs: list[Any] = [self._system.open_virtual_output(f"bench-out{i}") for i in range(OUTPUTS)]
        self._feeder: subprocess.Popen[str] | None = None

    def feed(self, seconds: float) -> None:
        self._feeder = feeder(seconds + WARM_UP + 3, self._cycle, RATE)

    def _end_feeder(self) -> None:
        if self._feeder is not None:
            self._feeder.terminate()
            self._feeder.wait()

    def close(self) -> None:
        self._end_feeder()
        for port in [*self.inputs, *self.outputs]:
            port.close()
        self._system.close()


class _BareInput:
    def __init__(self, index: int) -> None:
        import rtmidi

        self._port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=f"bare-in{index}", queue_size_limit=8192)
        self._port.ignore_types(False, False, False)
        self._port.open_virtual_port(f"bench-in{index}")
        self.close = self._port.delete

    def poll(self) -> list[bytes]:
        got = []
        while (event := self._port.get_message()) is not None:
            got.append(bytes(event[0]))
        return got


class _BareOutput:
    def __init__(self, index: int) -> None:
        import rtmidi

        self._port = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"bare-out{index}")
        self._port.open_virtual_port(f"bench-out{index}")
        self.send = self._port.send_message
        self.close = self._port.delete


class BarePorts(JackPorts):
    """python-rtmidi and nothing else."""

    def __init__(self, cycle: int) -> None:
        self._cycle = cycle
        self.inputs = [_BareInput(i) for i in range(INPUTS)]
        self.outputs = [_BareOutput(i) for i in range(OUTPUTS)]
        self._feeder = None

    def close(self) -> None:
        self._end_feeder()
        for port in [*self.inputs, *self.outputs]:
            port.close()


def feeder(seconds: float, cycle: int, rate: int, only: int | None = None) -> subprocess.Popen[str]:
    """Start `feed` in a process of its own, and wait until it plays."""
    options = ["--feed", str(seconds), "--cycle", str(cycle), "--rate", str(rate)]
    if only is not None:
        options += ["--only", str(only)]
    process = subprocess.Popen([sys.executable, __file__, *options], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "feeding"
    return process


def feed(seconds: float, cycle: int, rate: int, only: int | None) -> None:
    """Another process: plays to the bench's inputs, or to one of them, so many messages a second."""
    import rtmidi

    ports = {}
    for source in range(INPUTS) if only is None else (only,):
        port = ports[source] = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"feeder{source}-{rate}")
        names = port.get_ports(encoding="utf-8")
        port.open_port(next(index for index, name in enumerate(names) if name.endswith(f"bench-in{source}")), "out")
    made = {source: messages(source, cycle) for source in ports}
    print("feeding", flush=True)
    if only is None:
        time.sleep(1.5)  # the other process loads its rig
    begin, sent, end = time.monotonic(), 0, time.monotonic() + seconds
    while (now := time.monotonic()) < end:
        due = int((now - begin) * rate)
        for index in range(sent, due):
            for source, port in ports.items():
                port.send_message(made[source][index % cycle])
        sent = max(sent, due)
        time.sleep(0.0005)
    for port in ports.values():
        port.delete()


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--jack", action="store_true")
    parser.add_argument("--cold", action="store_true", help="no message is ever the same as one before")
    for own in ("--cycle", "--rate", "--only"):
        parser.add_argument(own, type=int, help=argparse.SUPPRESS)
    parser.add_argument("--feed", type=float, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.feed:
        feed(options.feed, options.cycle, options.rate, options.only)
        return
    turns: dict[str, list[dict[str, float]]] = {name: [] for name in CONTENDERS}
    for _ in range(options.rounds):
        for name in CONTENDERS:
            turns[name].append(one_turn(name, options.seconds, options.jack, COLD if options.cold else WARM))
    where = f"{'JACK' if options.jack else 'memory'} ports, {'cold' if options.cold else 'warm'}"
    print(f"{platform.machine()}, Python {platform.python_version()}, {where}, ", end="")
    print(f"median of {options.rounds} turns of {options.seconds:.0f} s; latencies in µs, CPU in % of a core")
    medians = {
        name: {key: statistics.median(turn[key] for turn in listed) for key in listed[0]}
        for name, listed in turns.items()
    }
    columns = list(medians["bayleaf"])
    print("| | " + " | ".join(columns) + " |\n|---" * (1) + "|---" * len(columns) + "|")
    for name, row in medians.items():
        print(f"| {name} | " + " | ".join(f"{row[key]:,.0f}" for key in columns) + " |")
    for other in ("bare forwarder", "mido chain"):
        ratios = (f"{medians['bayleaf'][key] / medians[other][key]:.2f}" for key in columns)
        print(f"| bayleaf / {other} | " + " | ".join(ratios) + " |")


if __name__ == "__main__":
    main()
