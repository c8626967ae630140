"""An engine's part in a network of machines: its link, the other machines' ports, and the standby."""

import time
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

import trio

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.link.clock_offset import ClockOffsets, RoundTrip
from engine.cluster.link.join import join
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.live.edit.rig_session import RigSession
from engine.live.process.priority import going_first
from engine.live.process.watchdog import ALONE, REPLACED, Watchdog
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.live.standby import Standby, until
from engine.plurals import times
from engine.protocol import Answer, AnswerCode, refused
from engine.rig.models.rig import Rig

_MEET: Final = 0.5  # seconds that the ports of other machines may take to appear before the start
_PARTING: Final = 2.5  # seconds that a hand-over may take when the engine is about to end
_NO_NETWORK: Final = "this rig has no [network], so there is no machine to hand over to"


class ClusterSession:
    """One engine on the network; `machines` opens the ports of other machines."""

    def __init__(self, rig: Rig, link: Link) -> None:
        network = rig.network
        assert network is not None, "the caller has seen it"
        self._link = link
        self._keys = NetworkKeys(rig.rig.name)
        self._me = network.machine
        self.timing = ClockOffsets(link, self._keys, self._me, network.machines)
        self.machines = RemoteMachines(rig, link, self._keys)
        self.machines.leading = False  # not known yet
        self.machines.to_here = lambda machine, at: self.timing.here(machine, at, time.monotonic_ns())
        self.standby: Standby | None = None  # once there is a show
        token = self._keys.alive(self._me)
        self._watchdog = Watchdog(partial(link.alive, token), partial(link.gone, token), self._patience)

    def _patience(self) -> float:  # any thread
        """How long the loop may be stuck before this engine counts as gone."""
        standby = self.standby
        return REPLACED if standby is not None and standby.leadership.other_alive else ALONE

    def listen(self) -> None:  # blocks; call it in a thread
        """Begin to listen to the other machines."""
        self.machines.begin()
        self.timing.begin()

    async def meet(self, rig: Rig) -> None:
        """Wait until the ports of other machines have appeared, but not for long."""
        machines = self.machines

        def met() -> bool:
            return all(machines.sees(name, port) for name, port in rig.inputs.items() if machines.has(port)) and all(
                machines.sees(name, port) for name, port in rig.outputs.items() if machines.has(port)
            )

        await until(met, _MEET)

    def tasks(self, show: Show, session: RigSession) -> Sequence[Callable[[], Awaitable[None]]]:
        """The tasks that are to run with the show."""
        self.standby = Standby(show, self.machines, session)
        return self.standby.run, self._watchdog.run

    async def part(self) -> Answer | None:
        """This engine is about to end: hand the show over to the other engine, if it is there."""
        if self.standby is None or not self.standby.leadership.in_charge or not self.standby.leadership.other_alive:
            return None
        with trio.move_on_after(_PARTING):
            return await self.standby.hand_over()
        return None

    def status(self) -> dict[str, Any]:
        """Machines, links, and the engine in charge, as plain values. Loop only."""
        leadership = self.standby.leadership if self.standby is not None else None
        return {
            "machine": self._me,
            "in_charge": leadership.leader if leadership is not None else None,
            "state": leadership.state if leadership is not None else "following",
            "term": leadership.term if leadership is not None else 0,
            "takeovers": leadership.changes if leadership is not None else 0,
            "machines": [self._machine(name) for name in self.machines.network.machines],
            "lost": self._link.lost,
            "faults": self._link.faults,
            "stuck": self._watchdog.times_stuck,
        }

    def problems(self) -> list[str]:
        """What is wrong with the other machines, in sentences; missing ports are not among them."""
        found = self.machines.hearing.problems()
        if self._link.faults:
            found.append(
                f"the link to other machines failed {times(self._link.faults)} and continued; please report it"
            )
        return [*found, *self._leadership_problems()]

    def _leadership_problems(self) -> list[str]:
        leadership = self.standby.leadership if self.standby is not None else None
        if leadership is None or leadership.other is None:
            return []
        if leadership.state == "asking":
            return [
                f"{leadership.leader or 'the other engine'} is silent, and no machine with outputs lets {self._me} play"
            ]
        if not leadership.other_alive:
            what = "no engine could take over" if leadership.in_charge else "no engine is in charge"
            return [f"{leadership.other} is not there: {what}"]
        return []

    def _machine(self, name: str) -> dict[str, Any]:
        mine = name == self._me
        lease, report = self.machines.leases.get(name), self.machines.reports.get(name)
        return {
            "name": name,
            "engine": name in self.machines.network.engines,
            "there": mine or name in self.machines.alive,
            "round_trip": None if mine else _milliseconds(self.timing.round_trip(name)),
            "played_by": lease.holder if lease is not None and name in self.machines.alive else None,
            "garbled": self.machines.hearing.garbled(name),
            "faults": report.faults.model_dump() if report is not None else None,
        }

    def leave(self) -> None:  # blocks; call it in a thread
        """Leave the network."""
        self.timing.end()
        self._link.close()

    async def hand_over(self) -> Answer:
        """See Standby.hand_over."""
        if self.standby is None:
            return refused(AnswerCode.NOT_POSSIBLE, "the show has not begun yet")
        return await self.standby.hand_over()


def _milliseconds(trip: RoundTrip | None) -> dict[str, float] | None:
    return None if trip is None else {key: round(value / 1e6, 2) for key, value in asdict(trip).items()}


@asynccontextmanager
async def open_cluster_session(
    rig: Rig, rig_file: Path, say: Callable[[str], None]
) -> AsyncIterator[ClusterSession | None]:
    """Join the network for as long as this lasts; None for a rig of one machine. Raises LinkError."""
    if rig.network is None:
        yield None
        return
    with going_first():  # the link's own threads as well: on a busy computer this machine would count as gone
        link = await to_its_end(join, rig, rig_file, say)
    session = ClusterSession(rig, link)
    try:
        with going_first():
            await to_its_end(session.listen)
        await session.meet(rig)
        yield session
    finally:
        with trio.CancelScope(shield=True):
            await to_its_end(session.leave)


async def hand_over(session: ClusterSession | None) -> Answer:
    """Put the other engine in charge, or take the show from it; the answer for the player."""
    return refused(AnswerCode.NOT_IN_RIG, _NO_NETWORK) if session is None else await session.hand_over()
