"""A machine that only lends its ports: what arrives at its inputs goes to the engines, and they play its outputs.

The wires, and what sounds, are here: pacing does not cross the network, and nothing hangs when the network does.
"""

import contextlib
import json
import secrets
import signal
import time
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Final

import trio

from engine.cluster.link.clock_offset import ClockOffsets
from engine.cluster.link.join import join
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import EventSender
from engine.core.cable.output_cable import Delivery
from engine.fault_log import faults, log_file
from engine.live.lender_ports import LenderPorts
from engine.live.notice_limiter import NoticeLimiter
from engine.live.port_opening import PortOpener
from engine.live.process.gc_pauses import collect_when_idle, collector_at_rest
from engine.live.process.priority import going_first, undisturbed
from engine.live.process.watchdog import Watchdog
from engine.live.process.worker_threads import to_its_end
from engine.midi.kinds import SYSEX
from engine.plurals import counted
from engine.ports.port import PortError, PortGone
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read
from filters.registry import FilterFault

_ROUND: Final = 0.2  # seconds between looks
_STUCK: Final = 1.0  # seconds: nobody takes this machine's place, so a loop that is late is better than none
_FAREWELL: Final = 2.0  # seconds the last releases may take on slow wires


class LenderProcess(LenderPorts):
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
        super().__init__(rig, link, opener, clock, day())
        self.stop = trio.Event()
        self._say = say
        self._notices = NoticeLimiter(lambda _, port, text: say(f"{port}: {text}"))
        self._loop: trio.lowlevel.TrioToken | None = None
        self._stream = secrets.randbits(32)
        self._senders: dict[str, EventSender] = {}
        self._texts: deque[bytes] = deque()  # the rig as the engine in charge plays it
        self._played_by: str | None = None
        token = self.names.alive(self.me)
        self._watchdog = Watchdog(partial(link.alive, token), partial(link.gone, token), stuck_s=_STUCK)
        self.want(rig)

    # From start to end

    async def run(self) -> None:
        """Until `stop`."""
        self._loop = trio.lowlevel.current_trio_token()
        await self._begin()
        try:
            with collector_at_rest(), undisturbed():
                await self._lend()
        finally:
            self.inbox.stop()
            with trio.CancelScope(shield=True):
                await self._say_farewell()

    async def _begin(self) -> None:
        await self.open_missing()
        for name, reason in self.missing():
            self._say(f"{name} is missing: {reason}")
        await to_its_end(self.gate.begin)
        await to_its_end(self.link.subscribe_state, self.names.state("rig"), self._hear_rig)

    async def _lend(self) -> None:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(collect_when_idle, self._passed)
            nursery.start_soon(self._watchdog.run)
            nursery.start_soon(self.tell_tokens)
            nursery.start_soon(self._look_around)
            self.inbox.start(self.poke)
            lent = f"{counted(len(self.inputs), 'input')} and {counted(len(self.outputs), 'output')}"
            self._say(f"lending {lent} as {self.me}; stop with Ctrl-C")
            self.pump()
            await self.stop.wait()
            nursery.cancel_scope.cancel()

    async def _say_farewell(self) -> None:
        """Let everything sound out, and leave."""
        with self.gate.lender() as lender:
            deliveries = lender.silence(self.clock())
        self.send(deliveries)
        with trio.move_on_after(_FAREWELL):
            while self.gate.due is not None:
                await trio.sleep(0.001)
                self.send(self.gate.turn())
        self.close_outputs()

    def _passed(self) -> int:
        return sum(meter.messages for meter in (*self.in_meters.values(), *self.out_meters.values()))

    # Each turn

    def poke(self) -> None:
        """See LenderPorts."""
        with contextlib.suppress(trio.RunFinishedError):
            if self._loop is not None:
                self._loop.run_sync_soon(self.pump, idempotent=True)

    def pump(self) -> None:
        """Play what was ordered, hand on what arrived; called whenever there may be something. Never raises."""
        try:
            self.send(self.gate.turn())
            self._hand_on()
            while self.inbox.lost:
                self.lose_input(*self.inbox.lost.popleft())
            self.inbox.due = self.gate.due
            self._tell_who_plays()
        except Exception as fault:  # it costs this turn, not the show
            self.tell("engine", faults.record("playing what was ordered", fault))

    def _hand_on(self) -> None:
        """What arrived goes to the engines, all of a turn together."""
        while arrivals := self.inbox.take():
            found: dict[int, list[tuple[int, bytes]]] = {}
            for at, source, message in arrivals:
                found.setdefault(source, []).append((at, message))
            for source, events in found.items():
                name = self.sources[source]
                for _, message in events:
                    self.in_meters[name].count(message)
                sender = self._senders.setdefault(name, EventSender(self._stream))
                for payload, bulk in sender.packs(events):
                    self.link.publish(self.names.input(self.me, name), payload, bulk)

    def send(self, deliveries: Sequence[Delivery]) -> None:
        """See LenderPorts."""
        for output, message, _ in deliveries:
            name = self.gate.name(output)
            port, meter = self.port(name), self.out_meters[name]
            if port is None:
                meter.dropped += 1
                continue
            try:
                port.send(message)
            except PortGone as fault:
                meter.dropped += 1
                self.lose_output(name, str(fault))
            except PortError as fault:
                meter.drop(str(fault))
                self.tell(name, str(fault))
                if message[0] < SYSEX:
                    self.get_stuck(name)
            else:
                meter.count(message)

    def _tell_who_plays(self) -> None:
        holder = self.gate.holder
        if holder != self._played_by:
            self._played_by = holder
            self._say(f"{holder} plays" if holder is not None else "nobody plays; everything is silent")

    def tell(self, port: str, text: str) -> None:
        """See LenderPorts."""
        self._notices.tell(self.clock(), port, text)

    # Now and then

    async def _look_around(self) -> None:
        while True:
            try:
                await self._look()
            except Exception as fault:  # it costs this look, not the show
                self.tell("engine", faults.record("looking after the ports", fault))
            await trio.sleep(_ROUND)

    async def _look(self) -> None:
        self.check_outputs()
        self.gate.look()
        while self._texts:
            await self._play_rig(self._texts.popleft())
        await self.open_missing()
        self.pump()
        self.link.hint(self.names.meter(self.me), json.dumps(self.meter()).encode())
        self._notices.flush(self.clock())

    def _hear_rig(self, key: str, payload: bytes) -> None:  # a thread of the link
        self._texts.append(payload)

    async def _play_rig(self, payload: bytes) -> None:
        """The engine in charge plays this rig; its ports here are lent from now on."""
        text = payload.decode()
        if not text:  # it is in charge no more
            return
        try:
            rig = (await to_its_end(partial(read, text, "the rig", lists=False))).on(self.me)
        except (RigError, FilterFault, ValueError) as fault:
            self._say(f"the rig of the engine in charge cannot be read, and everything stays as it is: {fault}")
        else:
            self.want(rig)


async def lend(rig: Rig, rig_file: Path, opener: PortOpener, say: Callable[[str], None]) -> None:
    """Join the network and lend, until SIGINT or SIGTERM. Raises LinkError."""
    network = rig.network
    assert network is not None, "a rig of one machine lends nothing"
    # with the link's own threads: on a busy computer it would count as gone
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
