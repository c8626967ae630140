"""One engine from start to end: ports, reader, show, socket, state; and everything released at the end."""

import contextlib
import signal
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from pathlib import Path
from typing import Final

import trio

from engine.core.commands import Begin, FirstScene, RecallScene, ResumePosition
from engine.fault_log import faults, log_file
from engine.live.cluster_session import ClusterSession, open_cluster_session
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.hotplug import Hotplug
from engine.live.loop_wakeup import waker
from engine.live.missing_outputs import nothing_reached
from engine.live.port_bank import DRIVERS_TAKE
from engine.live.port_opening import PortOpener, connect
from engine.live.process.gc_pauses import collect_when_idle, collector_at_rest
from engine.live.process.instance_lock import InstanceLock, claim_socket
from engine.live.process.last_scene import LastSceneWriter, state_file
from engine.live.process.priority import undisturbed
from engine.live.process.worker_process import WorkerProcess
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.live.socket.osc import OscServer
from engine.live.socket.osc_telling import OscTelling
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.live.transposing_ahead import transpose_ahead
from engine.plurals import counted, plural
from engine.ports.port import PortSystem
from engine.rig.models.rig import Rig

_Task = Callable[[], Awaitable[None]]

_FAREWELL: Final = 2.0  # seconds the last releases may take on slow cables
_LEAVING: Final = 0.5  # seconds for each of the last words to other machines and to the disk


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
        stopping: Callable[[], None] = lambda: None,
        draft: bool = False,
    ) -> None:
        """`text` is what the rig was read from; `say` gets one sentence at a time, for the player.

        The tasks `beside` begin with the show and end before its farewell. `stopping` is called at the first signal.
        `draft`: see RigSession.
        """
        self._rig = rig
        self._text = text
        self._rig_file = rig_file
        self._name = name
        self._number = rig.network.number if rig.network is not None else None
        self._virtual = virtual
        self._say = say
        self._beside = beside
        self._stopping = stopping
        self._draft = draft
        self._last_scene = LastSceneWriter(state_file(name), rig_file, say)
        self._stop = trio.Event()
        self._worker = WorkerProcess("engine.live.edit.rig_texts")

    # From start to end: name, network, ports, show, tasks, music, farewell

    async def run(self, system: PortSystem) -> None:
        """Until SIGINT or SIGTERM. NameTaken, SamePort, PortError, LinkError or OSError come before anything plays."""
        with trio.open_signal_receiver(signal.SIGINT, signal.SIGTERM) as signals:
            lock = claim_socket(self._name)
            try:
                with contextlib.closing(self._worker), faults.kept_in(log_file(self._name)):
                    async with open_cluster_session(self._rig, self._rig_file, self._say) as cluster:
                        await self._run(system, lock, cluster, signals)
            finally:
                lock.release()

    async def _run(
        self, system: PortSystem, lock: InstanceLock, cluster: ClusterSession | None, signals: AsyncIterator[int]
    ) -> None:
        with contextlib.suppress(OSError):  # the first edit tries again
            self._worker.start()
        opener = PortOpener(system, self._virtual, cluster.machines if cluster is not None else None)
        show, reader = self._open(opener)
        if lock.crashed:
            show.port_commands.set_up(show.outputs)
            missing = nothing_reached(show.ports, show.ports.missing()[1])
            crash = f"the last engine named {self._name} was not shut down cleanly"
            self._say(f"{crash}; every output was silenced first{missing}")
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self._heed, signals)
            session = RigSession(
                show, self._rig_file, self._text, self._worker.run, self._draft, self._last_scene.follow
            )
            saver = RigSaver(session)
            remote_work = RemoteWork(show, session)
            panel = PanelRequests(show, session, system)
            server = SocketServer(
                show, session, saver, remote_work, panel, lock.listener, self._last_scene.written, cluster
            )
            tasks: list[_Task] = [
                server.serve,
                Hotplug(show, opener).run,
                RigFileFollower(session).run,
                remote_work.run,
                OscServer(show).run,
                OscTelling(show).run,
            ]
            if cluster is not None:
                tasks += cluster.tasks(show, session)
            try:
                await self._perform(show, reader, [*tasks, *self._beside], cluster)
            finally:
                with trio.move_on_after(_LEAVING, shield=True):
                    await saver.leave()
            nursery.cancel_scope.cancel()

    async def _heed(self, signals: AsyncIterator[int]) -> None:
        """The first signal ends the show; an impatient second one must not end the farewell."""
        async for _ in signals:
            if not self._stop.is_set():
                self._stopping()
            self._stop.set()

    def _open(self, opener: PortOpener) -> tuple[Show, InputReader]:
        """Open the ports; the show on them, and the reader of its inputs, which does not run yet."""
        rig = self._rig
        opened = connect(rig, opener)
        for place, reason in opened.missing.items():
            self._say(f"{place} is missing: {reason}")
        reader = InputReader({index: opened.inputs[n] for index, n in enumerate(rig.inputs) if n in opened.inputs})
        return Show(rig, opened, reader, self._last_scene.note, say=self._say), reader

    async def _perform(
        self, show: Show, reader: InputReader, tasks: Sequence[_Task], cluster: ClusterSession | None
    ) -> None:
        """Play until stopped; then release everything and close the ports, whatever has happened."""
        try:
            with collector_at_rest(), undisturbed(self._number) as show.scheduling:
                await self._play(show, reader, tasks, cluster)
        finally:
            reader.stop()
            held = _held(show)
            with trio.CancelScope(shield=True):
                released = await _say_farewell(show)
            missing = nothing_reached(show.ports, show.ports.missing()[1])
            show.ports.close()
        did = f"every note and pedal released{held}" if released else f"not every release left within {_FAREWELL:.0f} s"
        self._say(f"stopped; {did}{missing}")

    async def _play(
        self, show: Show, reader: InputReader, tasks: Sequence[_Task], cluster: ClusterSession | None
    ) -> None:
        async with trio.open_nursery() as nursery:
            for task in (*tasks, self._last_scene.run):
                nursery.start_soon(task)
            nursery.start_soon(collect_when_idle, show.ports.messages_heard)
            nursery.start_soon(transpose_ahead, show)
            self._recall_first(show)
            show.apply(Begin())
            reader.start(waker(show))
            self._say(f'playing "{self._rig.rig.name}" as {self._name}; stop with Ctrl-C')
            await self._stop.wait()
            if cluster is not None:
                with trio.move_on_after(_LEAVING):
                    await cluster.part()
            nursery.cancel_scope.cancel()
        with trio.move_on_after(_LEAVING):
            await self._last_scene.write()

    def _recall_first(self, show: Show) -> None:
        """Recall the scenes to begin with: by default, each player's last one or else the first of their set list."""
        compiled, last, start = show.engine.state.compiled, self._last_scene.last(), self._rig.rig.start
        for player, position in last.items():
            show.apply(ResumePosition(position, player))
        scene = compiled.opening()
        if start != "last":
            scene = compiled.find(start)
        elif "" in last and last[""].scene in compiled.scenes:
            scene = last[""].scene
        if scene is not None:
            self._say(show.apply(RecallScene(scene), "start").text)
        for player in compiled.players.setlists:
            its = last.get(player) if start == "last" else None
            at = its is not None and compiled.players.scenes.get(its.scene) == player
            recall = RecallScene(its.scene, player=player) if its is not None and at else FirstScene(player=player)
            self._say(show.apply(recall, "start").text)


def _held(show: Show) -> str:
    """What is about to be released, as the end of a sentence; empty if nothing is."""
    ledger = show.engine.state.ledger
    parts = []
    if notes := ledger.sounding():
        parts.append(counted(notes, "note"))
    if moved := ledger.off_rest():
        parts.append(f"{counted(moved, 'pedal')} or {plural(moved, 'wheel')}")
    return f" ({', '.join(parts)})" if parts else ""


async def _say_farewell(show: Show) -> bool:
    """Release everything, and give cables and drivers the time to carry that; returns whether all of it left."""
    with trio.move_on_after(_FAREWELL):
        while True:
            if not show.finish():
                await trio.sleep(DRIVERS_TAKE)
                return True
            await trio.sleep(0.001)
    return False
