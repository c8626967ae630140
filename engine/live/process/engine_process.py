"""One engine from start to end: ports, reader, show, socket, state; and everything released at the end."""

import signal
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from pathlib import Path
from typing import Final

import trio

from engine.core.control.setlist import ShowPosition
from engine.fault_log import faults, log_file
from engine.live.cluster_session import ClusterSession, joining
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.hotplug import Hotplug
from engine.live.loop_wakeup import waker
from engine.live.port_opening import PortOpener, connect
from engine.live.process.gc_pauses import collect_when_idle, collector_at_rest
from engine.live.process.instance_lock import InstanceLock, claim_socket
from engine.live.process.last_scene import read_last, state_file, write_last
from engine.live.process.priority import undisturbed
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.live.socket.osc import OscServer
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.ports.port import PortSystem
from engine.rig.models.rig import Rig

_Task = Callable[[], Awaitable[None]]

_FAREWELL: Final = 2.0  # seconds the last releases may take on slow wires


class EngineProcess:
    """Runs one rig under one name."""

    def __init__(
        self,
        rig: Rig,
        text: str,
        rig_file: Path,
        name: str,
        virtual: bool,
        say: Callable[[str], None],
        beside: Sequence[_Task] = (),
    ) -> None:
        """`text` is what the rig was read from; `say` gets one sentence at a time, for the player's eyes.

        What runs `beside` is begun with the show and ends before its farewell.
        """
        self._rig = rig
        self._text = text
        self._rig_file = rig_file
        self._name = name
        self._virtual = virtual
        self._say = say
        self._beside = beside
        self._to_keep: ShowPosition | None = None
        self._scene_changed = trio.Event()
        self._scene_written = trio.Event()
        self._scene_written.set()
        self._stop = trio.Event()

    async def run(self, system: PortSystem) -> None:
        """Until SIGINT or SIGTERM. NameTaken, SamePort, PortError, LinkError or OSError come before anything plays."""
        with trio.open_signal_receiver(signal.SIGINT, signal.SIGTERM) as signals:
            claim = claim_socket(self._name)
            try:
                with faults.kept_in(log_file(self._name)):
                    async with joining(self._rig, self._rig_file, self._say) as joined:
                        await self._run(system, claim, joined, signals)
            finally:
                claim.release()

    async def _run(
        self, system: PortSystem, claim: InstanceLock, joined: ClusterSession | None, signals: AsyncIterator[int]
    ) -> None:
        opener = PortOpener(system, self._virtual, joined.far if joined is not None else None)
        patch = connect(self._rig, opener)
        for place, reason in patch.missing.items():
            self._say(f"{place} is missing: {reason}")
        inbox = InputReader({index: patch.inputs[n] for index, n in enumerate(self._rig.inputs) if n in patch.inputs})
        show = Show(self._rig, patch, inbox, self._keep, say=self._say)
        if claim.crashed:
            show.clear_up()
            self._say("the last engine of this name did not end as it should; every output was silenced first")
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._heed, signals)
            session = RigSession(show, self._rig_file, self._text)
            saver = RigSaver(session)
            remote_work = RemoteWork(show, session)
            panel = PanelRequests(show, session, system)
            server = SocketServer(show, session, saver, remote_work, panel, claim.listener, self._written, joined)
            watch, osc = Hotplug(show, opener), OscServer(show)
            tasks = [server.serve, watch.run, RigFileFollower(session).run, remote_work.run, osc.run, *self._beside]
            if joined is not None:
                tasks += joined.tasks(show, session)
            try:
                await self._perform(show, inbox, tasks, joined)
            finally:
                with trio.move_on_after(_FAREWELL, shield=True):
                    await saver.leave()
            nursery.cancel_scope.cancel()

    async def _heed(self, signals: AsyncIterator[int]) -> None:
        """The first signal ends the show; an impatient second one must not end the farewell."""
        async for _ in signals:
            self._stop.set()

    async def _perform(
        self, show: Show, inbox: InputReader, tasks: Sequence[_Task], joined: ClusterSession | None
    ) -> None:
        try:
            with collector_at_rest(), undisturbed() as show.scheduling:
                await self._play(show, inbox, tasks, joined)
        finally:
            inbox.stop()
            with trio.CancelScope(shield=True):
                await _say_farewell(show)
            show.close_outputs()

    async def _play(
        self, show: Show, inbox: InputReader, tasks: Sequence[_Task], joined: ClusterSession | None
    ) -> None:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(collect_when_idle, show.messages_heard)
            for task in tasks:
                nursery.start_soon(task)
            nursery.start_soon(self._keep_state)
            self._say(show.command("scene", self._resume(show), "start").text)
            show.begin()
            inbox.start(waker(show))
            self._say(f'playing "{self._rig.rig.name}" as {self._name}; stop with Ctrl-C')
            await self._stop.wait()
            if joined is not None:
                await joined.part()
            nursery.cancel_scope.cancel()
        await self._write_state()

    def _resume(self, show: Show) -> int | str:
        """Take up the last set list; the scene to begin with."""
        last = read_last(state_file(self._name), self._rig_file)
        if last is not None:
            show.resume(last)
        start = self._rig.rig.start
        if start != "last":
            return start
        return last.scene if last is not None and last.scene in show.engine.plans else self._rig.scenes[0].number

    # The state file is written off the loop, the latest scene only.

    def _keep(self, standing: ShowPosition) -> None:
        self._to_keep = standing
        self._scene_changed.set()
        if self._scene_written.is_set():
            self._scene_written = trio.Event()

    async def _written(self) -> None:
        """Wait until the scene in force is written down, or could not be."""
        await self._scene_written.wait()

    async def _keep_state(self) -> None:
        while True:
            await self._scene_changed.wait()
            self._scene_changed = trio.Event()
            await self._write_state()
            if not self._scene_changed.is_set():
                self._scene_written.set()

    async def _write_state(self) -> None:
        standing, self._to_keep = self._to_keep, None
        if standing is None:
            return
        try:
            await to_its_end(write_last, state_file(self._name), self._rig_file, standing)
        except OSError as fault:
            if self._to_keep is None:
                self._to_keep = standing  # tried again with the next scene, or at the end
            self._say(f"the last scene could not be written down ({fault.strerror}: {state_file(self._name)})")


async def _say_farewell(show: Show) -> None:
    """Give paced wires the time to carry the last releases."""
    with trio.move_on_after(_FAREWELL):
        while True:
            if not show.finish():
                return
            await trio.sleep(0.001)
