"""How long a message takes from the reader to the driver's send: Bayleaf and its baselines in this process.

Bayleaf's own show as `bayleaf run` plays it; a bare forwarder (a polling thread and a table of outputs, no filters); a
naive chain of mido objects in a polling thread. A forwarder that does nothing to its messages is the lower limit, not a
rival. Part `latency` of `python -m bench` has them take turns.
"""

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from functools import partial
from typing import Any, Final

import mido
import trio

from bench.load import SECOND, Samples, outputs_of, percentiles, rig
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.meters import Latency
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.port import InputPort, OutputPort
from engine.rig.models.rig import Rig

POLL: Final = 0.00025
WARM_UP: Final = 3.0  # seconds of each turn that do not count: starting up is not measured
Manners = Callable[[], AbstractContextManager[object]]


def bayleaf(
    inputs: Sequence[InputPort],
    outputs: Sequence[OutputPort],
    seconds: float,
    samples: Samples,
    warm_up: float = WARM_UP,
    manners: Manners = collector_at_rest,
    loaded: Rig | None = None,
    left_over: float = 10.0,
) -> None:
    """The show as `bayleaf run` plays it, but at ordinary priority, as the others; with `manners` instead of its own.

    `left_over`: seconds after the end in which queued messages may still go out.
    """

    async def play() -> None:
        patch = OpenPorts(
            {f"in{i}": port for i, port in enumerate(inputs)}, {f"out{i}": port for i, port in enumerate(outputs)}
        )
        inbox = InputReader(dict(enumerate(inputs)))
        show = Show(loaded or rig(), patch, inbox)
        show.latency = Latency(samples.add)
        show.apply(RecallScene(1), "shell")
        with manners():
            inbox.start(waker(show))
            await trio.sleep(warm_up)
            del samples.all[:]
            await trio.sleep(seconds)
            inbox.stop()
            end = time.monotonic() + left_over
            while time.monotonic() < end and any(inbox.waiting(source) for source in range(len(inputs))):
                show.pump()

    music_loop.run(play)


def polled(
    inputs: Sequence[InputPort],
    seconds: float,
    samples: Samples,
    forward: Callable[[int, bytes], None],
    warm_up: float,
    manners: Manners,
) -> None:
    """A thread that polls and forwards by itself."""

    def run() -> None:
        now = time.monotonic_ns()
        warm = now + int(warm_up * SECOND)
        end = warm + int(seconds * SECOND)
        cold = True
        while now < end:
            if cold and now > warm:
                del samples.all[:]
                cold = False
            for source, port in enumerate(inputs):
                for message in port.poll():
                    forward(source, message)
                    sent = time.monotonic_ns()
                    samples.add(sent - now)
                    if sent > end:  # one that is behind gets more and more at once
                        return
            time.sleep(POLL)
            now = time.monotonic_ns()

    with manners():
        thread = threading.Thread(target=run)
        thread.start()
        thread.join()


def table_of(inputs: int, outputs: Sequence[OutputPort]) -> list[list[Callable[[bytes], None]]]:
    """For each input, the send methods of its outputs."""
    return [[outputs[o].send for o in outputs_of(i, inputs, len(outputs))] for i in range(inputs)]


def bare_way(table: Sequence[Sequence[Callable[[bytes], None]]]) -> Callable[[int, bytes], None]:
    """No filters at all: a table from input to outputs."""

    def forward(source: int, message: bytes) -> None:
        for send in table[source]:
            send(message)

    return forward


def mido_way(table: Sequence[Sequence[Callable[[bytes], None]]], filters: int = 2) -> Callable[[int, bytes], None]:
    """Each message becomes a mido object, goes through the same filters, and becomes bytes again.

    As in a script, the filters are conditions, and what they change is changed once, with one copy.
    """

    def forward(source: int, message: bytes) -> None:
        heard = mido.Message.from_bytes(message)
        new: dict[str, int] = {}
        for number in range(filters):
            if number % 2 == 0 and heard.type in ("note_on", "note_off"):
                new["note"] = new.get("note", heard.note) + (12 if number == 0 else 0)
            elif number % 2:
                new["channel"] = (source + 1) % 16
        changed = heard.copy(**new) if new else heard
        for send in table[source]:
            send(bytes(changed.bytes()))

    return forward


def forwarding(
    way: Callable[[Sequence[Sequence[Callable[[bytes], None]]]], Callable[[int, bytes], None]],
    inputs: Sequence[InputPort],
    outputs: Sequence[OutputPort],
    seconds: float,
    samples: Samples,
    warm_up: float = WARM_UP,
    manners: Manners = collector_at_rest,
) -> None:
    """A forwarder that uses this way, in a polling thread."""
    polled(inputs, seconds, samples, way(table_of(len(inputs), outputs)), warm_up, manners)


BAYLEAF, BARE, MIDO = "Bayleaf", "bare forwarder", "mido chain"
CONTENDERS: Final[dict[str, Callable[..., None]]] = {
    BAYLEAF: bayleaf,
    BARE: partial(forwarding, bare_way),
    MIDO: partial(forwarding, mido_way),
}


def one_turn(name: str, seconds: float, ports: Any, samples: Samples | None = None, **more: Any) -> dict[str, float]:
    """One contender for some seconds on these ports: latency in µs, CPU in % of a core, messages per second."""
    samples = samples or Samples()
    try:
        ports.feed(seconds + more.get("warm_up", WARM_UP))
        begin, cpu = time.monotonic(), time.process_time()
        CONTENDERS[name](ports.inputs, ports.outputs, seconds, samples, **more)
        used = (time.process_time() - cpu) / (time.monotonic() - begin)
    finally:
        ports.close()
    return {**percentiles(samples.all), "CPU": 100 * used, "messages/s": len(samples.all) / seconds}
