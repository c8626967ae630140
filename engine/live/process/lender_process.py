"""The process of a machine that only lends its ports: engines hear its inputs and play its outputs.

The cables are paced here, and what sounds is known here: so pacing does not depend on the network, and no note hangs
when the network fails.
"""

import contextlib
import secrets
import signal
import time
from collections import deque
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Final

import trio

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.link.clock_offset import ClockOffsets
from engine.cluster.link.join import join
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import EventSender
from engine.cluster.pure.output_lender import OutputLender
from engine.cluster.pure.words import LenderFaults, pack, read_rig
from engine.fault_log import faults, log_file
from engine.live.lender_report import LenderReport
from engine.live.lent_ports import LentPorts
from engine.live.lent_rig import ports_at, ports_in, unpacked
from engine.live.notice_limiter import NoticeLimiter
from engine.live.port_bank import DRIVERS_TAKE
from engine.live.port_opening import PortOpener
from engine.live.port_reopening import PortReopening
from engine.live.process.gc_pauses import collect_when_idle, collector_at_rest
from engine.live.process.priority import going_first, undisturbed
from engine.live.process.watchdog import ALONE, Watchdog
from engine.live.process.worker_process import WorkerProcess, WorkGivenUp
from engine.live.process.worker_threads import to_its_end
from engine.plurals import counted
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError
from filters.registry import FilterFault

_ROUND: Final = 0.2  # seconds between looks
_FAREWELL: Final = 2.0  # seconds the last releases may take on slow cables


class LenderProcess:
    """Lends the ports of one machine of a rig until it is stopped."""

    def __init__(
        self,
        rig: Rig,
        link: Link,
        opener: PortOpener,
        say: Callable[[str], None],
        clock: Callable[[], int] = time.monotonic_ns,
        day: Callable[[], int] = time.time_ns,
    ) -> None:
        """`say` gets one sentence at a time; `clock` is monotonic, `day` the time of day (ns)."""
        network = rig.network
        assert network is not None, "a rig of one machine lends nothing"
        self.stop = trio.Event()
        self._me, self._number = network.machine, network.number
        self._keys = NetworkKeys(rig.rig.name)
        self._link = link
        self._clock = clock
        self._say = say
        self._notices = NoticeLimiter(lambda _, port, text: say(f"{port}: {text}"))
        self._endpoint = LenderEndpoint(OutputLender({}, day()), network, link, self._keys, self._wake, clock)
        self._ports = LentPorts(self._me, self._keys, link, self._endpoint, clock, self._tell)
        self._missing = PortReopening(self._ports.bank, opener)
        self._report = LenderReport(self._ports, self._endpoint, clock)
        self._loop: trio.lowlevel.TrioToken | None = None
        self._stream = secrets.randbits(32)
        self._senders: dict[int, EventSender] = {}  # by input
        self._texts: deque[str] = deque(maxlen=1)  # the rig that the engine in charge has published last
        self._played_by: str | None = None
        token = self._keys.alive(self._me)
        self._watchdog = Watchdog(partial(link.alive, token), partial(link.gone, token), lambda: ALONE)
        self._worker = WorkerProcess("engine.live.lent_rig")
        self._ports.lend(ports_at(rig, self._me))

    # From start to end

    async def run(self) -> None:
        """Until `stop`."""
        self._loop = trio.lowlevel.current_trio_token()
        await self._begin()
        try:
            with contextlib.closing(self._worker), collector_at_rest(), undisturbed(self._number):
                await self._lend()
        finally:
            self._ports.reader.stop()
            with trio.CancelScope(shield=True):
                await self._say_farewell()

    async def _begin(self) -> None:
        await self._missing.open()
        for name, reason in self._ports.missing():
            self._say(f"{name} is missing: {reason}")
        await to_its_end(self._endpoint.begin)
        await to_its_end(self._link.subscribe_state, self._keys.state("rig"), self._hear_rig)

    async def _lend(self) -> None:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(collect_when_idle, self._passed)
            nursery.start_soon(self._watchdog.run)
            nursery.start_soon(self._ports.show_tokens)
            nursery.start_soon(self._repeat, self._look, "looking after the ports")
            nursery.start_soon(self._repeat, self._follow_rig, "reading the rig of the engine in charge")
            self._ports.reader.start(self._wake)
            inputs, outputs = self._ports.wanted_inputs(), self._ports.wanted_outputs()
            lent = f"{counted(len(inputs), 'input')} and {counted(len(outputs), 'output')}"
            self._say(f"lending {lent} as {self._me}; stop with Ctrl-C")
            self._turn()
            await self.stop.wait()
            nursery.cancel_scope.cancel()

    async def _say_farewell(self) -> None:
        """Release everything, give paced cables time to send that, and close the ports."""
        now = self._clock()
        with self._endpoint.lender() as lender:
            deliveries = lender.silence(now)
        self._ports.bank.send(now, deliveries)
        with trio.move_on_after(_FAREWELL):
            while self._endpoint.due is not None:
                await trio.sleep(0.001)
                self._send_due()
        await trio.sleep(DRIVERS_TAKE)
        self._ports.bank.close()

    def _passed(self) -> int:
        bank = self._ports.bank
        return sum(meter.messages for meter in (*bank.in_meters, *bank.out_meters))

    # Each turn of the loop

    def _wake(self) -> None:  # any thread
        """Ask the loop for a turn."""
        with contextlib.suppress(trio.RunFinishedError):
            if self._loop is not None:
                self._loop.run_sync_soon(self._turn, idempotent=True)

    def _turn(self) -> None:
        """Play what was ordered, publish what arrived. Never raises."""
        try:
            self._send_due()
            self._publish_arrivals()
            reader = self._ports.reader
            self._ports.bank.take_losses([reader.lost.popleft() for _ in range(len(reader.lost))])
            reader.due = self._endpoint.due
            self._say_who_plays()
            while self._endpoint.hearing.news:
                self._tell("network", self._endpoint.hearing.news.popleft())
        except Exception as fault:  # it costs this turn, not the show
            self._tell("engine", faults.record("playing what was ordered", fault))

    def _send_due(self) -> None:
        self._ports.bank.send(self._clock(), self._endpoint.turn())

    def _publish_arrivals(self) -> None:
        """Send the engines what has arrived, all messages of a turn together."""
        while arrivals := self._ports.reader.take():
            found: dict[int, list[tuple[int, bytes]]] = {}
            for at, source, message in arrivals:
                found.setdefault(source, []).append((at, message))
            for source, events in found.items():
                self._publish(source, events)

    def _publish(self, source: int, events: list[tuple[int, bytes]]) -> None:
        meter, key = self._ports.bank.in_meters[source], self._keys.input(self._me, self._ports.bank.inputs[source])
        meter.messages += len(events)
        meter.octets += sum(len(message) for _, message in events)
        sender = self._senders.setdefault(source, EventSender(self._stream))
        for payload, bulk in sender.packs(events):
            self._link.publish(key, payload, bulk)

    def _say_who_plays(self) -> None:
        holder = self._endpoint.holder
        if holder != self._played_by:
            self._played_by = holder
            self._say(f"{holder} plays" if holder is not None else "no engine plays; everything is silent")

    def _tell(self, port: str, text: str) -> None:
        self._notices.tell(self._clock(), port, text)

    # Now and then

    async def _repeat(self, work: Callable[[], Awaitable[None]], what: str) -> None:
        while True:
            try:
                await work()
            except Exception as fault:  # it costs this round, not the show
                self._tell("engine", faults.record(what, fault))
            await trio.sleep(_ROUND)

    async def _look(self) -> None:
        self._ports.bank.check_outputs()
        self._endpoint.look()
        await self._missing.open()
        self._turn()
        self._link.hint(self._keys.meter(self._me), pack(self._report.take(self._faults())))
        self._notices.flush(self._clock())

    def _faults(self) -> LenderFaults:
        garbled, stuck = self._endpoint.garbled, self._watchdog.times_stuck
        return LenderFaults(garbled=garbled, link=self._link.faults, stuck=stuck, own=faults.count)

    def _hear_rig(self, key: str, payload: bytes) -> None:  # a thread of the link
        text = self._endpoint.hearing.read("the engine in charge", "rig", read_rig, payload)
        if text:  # an engine that is no longer in charge says that it plays none
            self._texts.append(text)

    async def _follow_rig(self) -> None:
        """Lend the ports that the rig of the engine in charge has here. A long text costs the cables nothing."""
        if not self._texts:
            return
        try:
            found = await self._worker.run(ports_in, self._texts.popleft(), self._me)
        except (RigError, FilterFault, ValueError, WorkGivenUp) as fault:
            self._say(f"the rig of the engine in charge cannot be read; the same ports stay lent: {fault}")
        else:
            self._ports.lend(unpacked(found))


async def lend(rig: Rig, rig_file: Path, opener: PortOpener, say: Callable[[str], None]) -> None:
    """Join the network and lend, until SIGINT or SIGTERM. Raises LinkError."""
    network = rig.network
    assert network is not None, "a rig of one machine lends nothing"
    # the link's own threads as well: on a busy computer this machine would count as gone
    with (
        faults.kept_in(log_file(f"{network.machine}-lender")),
        trio.open_signal_receiver(signal.SIGINT, signal.SIGTERM) as signals,
        going_first(),
    ):
        link = await to_its_end(join, rig, rig_file, say)
        timing = ClockOffsets(link, NetworkKeys(rig.rig.name), network.machine, network.machines)
        timing.begin()
        try:
            lending = LenderProcess(rig, link, opener, say)
            async with trio.open_nursery() as nursery:
                nursery.start_soon(_heed, signals, lending.stop)
                await lending.run()
                nursery.cancel_scope.cancel()
        finally:
            with trio.CancelScope(shield=True):
                await to_its_end(timing.end)
                await to_its_end(link.close)


async def _heed(signals: AsyncIterator[int], stop: trio.Event) -> None:
    async for _ in signals:
        stop.set()
