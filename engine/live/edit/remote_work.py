"""Requests of other machines that take a worker: set a route by SysEx, send the rig as a dump, restore it.

Whatever a machine asks for and however often, its requests are carried out one at a time, with a rest after each edit,
so that the music goes on beside them.
"""

from functools import partial
from typing import Final

import trio

from engine.core import scene_snapshot
from engine.core.control import rig_dump
from engine.core.control.remote_messages import BLOCK, SET_ROUTE, RemoteRequest, RouteRequest, answer_reply
from engine.core.control.rig_dump import DumpCollector
from engine.live.edit.incoming_dumps import IncomingDumps
from engine.live.edit.rig_session import RigSession
from engine.live.edit.rig_texts import Change, SentRig, replaced, replaced_from_outside
from engine.live.process.worker_process import WorkGivenUp
from engine.live.rounds import SELDOM, next_round
from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, LongText, refused, unchanged
from engine.rig.edit import scene_edits

_ROUND: Final = 0.05  # seconds between looks for requests
_AFTER_EACH: Final = 0.001  # seconds: a turn of the loop for each is not enough, since the reader needs Python's lock
_AFTER_ROUTE: Final = 0.1  # seconds until the next request is carried out
_AFTER_RESTORE: Final = 1.0
_AT_ONCE: Final = 8  # blocks of a backup that are put on the cables in one turn
_LOOK: Final = 1.0  # seconds between looks whether a backup has left
_NOT_RESTORED: Final = refused(
    AnswerCode.NOT_ALLOWED,
    "a rig that comes over MIDI is not played, since [remote] of the current one has no restore = true",
)


class RemoteWork:
    """Carries out the requests for one show."""

    def __init__(self, show: Show, session: RigSession) -> None:
        self._show = show
        self._session = session
        self._dumps = IncomingDumps(lambda source, text: show.tell(show.inputs[source], text))
        self._sending = False  # a backup that was asked for by MIDI is on its way

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        requests = self._show.engine.reports.requests
        async with trio.open_nursery() as nursery:
            while True:
                if self._show.engine.state.compiled.remote.inputs:
                    await trio.sleep(_ROUND)
                else:
                    await next_round(SELDOM)
                while requests:
                    source, request = requests.popleft()
                    try:
                        await self._carry_out(source, request, nursery)
                    except Exception as fault:  # it costs this request, not the show
                        self._show.own_fault(f"carrying out {request.do} from {self._show.inputs[source]}", fault)
                    await trio.sleep(_AFTER_EACH)
                self._give_up()

    async def _carry_out(self, source: int, request: RemoteRequest, nursery: trio.Nursery) -> None:
        if request.do == "ask backup":
            if self._sending:
                self._show.tell(self._show.inputs[source], "a backup is on its way; another one is not begun")
                return
            self._sending = True
            nursery.start_soon(self._send_asked, source)
        elif request.do == "block" and isinstance(request.data, bytes):
            await self._take_block(source, request.data)
        elif request.do == "route" and isinstance(request.data, RouteRequest):
            self._answer(source, SET_ROUTE, await self._set_route(request.data))
            await trio.sleep(_AFTER_ROUTE)

    # The rig as a dump

    async def send_backup(self, outputs: tuple[int, ...]) -> list[bytes]:
        """Put the current rig on the cables of these outputs as a dump; the blocks.

        Raises ValueError if it is too long, and WorkGivenUp.
        """
        device = self._show.engine.state.compiled.remote.device
        blocks: list[bytes] = await self._session.elsewhere(rig_dump.blocks, self._session.text, device)
        for place in range(0, len(blocks), _AT_ONCE):
            self._show.send((output, block) for block in blocks[place : place + _AT_ONCE] for output in outputs)
            await trio.lowlevel.checkpoint()  # music first
        return blocks

    async def _send_asked(self, source: int) -> None:
        """Send a backup that was asked for by MIDI, and wait until it has left."""
        outputs = self._show.engine.state.compiled.remote.reply_to
        try:
            last = (await self.send_backup(outputs))[-2:]  # of two: a short one may overtake a long one
            cables = self._show.engine.state.cables
            while any(cables[to].holds(each) for to in outputs for each in last):  # noqa: ASYNC110 a cable sets no event
                await trio.sleep(_LOOK)
        except (ValueError, WorkGivenUp) as fault:
            self._show.tell(self._show.inputs[source], f"no backup was sent: {fault}")
        except Exception as fault:  # it costs this backup, not the show
            self._show.own_fault(f"sending a backup for {self._show.inputs[source]}", fault)
        finally:
            self._sending = False

    # A dump that comes in

    @property
    def _restores(self) -> bool:
        remote = self._show.engine.rig.remote
        return remote is not None and remote.restore

    async def _take_block(self, source: int, block: bytes) -> None:
        show, now = self._show, self._show.clock()
        if self._dumps.begins(source):
            self._dumps.begin(now, source, self._restores)
            if not self._restores:
                self._answer(source, BLOCK, _NOT_RESTORED)
        dump = self._dumps.take(now, source, block)
        if dump is None:
            return
        self._answer(source, BLOCK, await self._restore_dump(dump, f"a dump on {show.inputs[source]}"))
        await trio.sleep(_AFTER_RESTORE)

    def _give_up(self) -> None:
        """Report dumps that have stopped half-way."""
        for source, text in self._dumps.stopped(self._show.clock()):
            self._answer(source, BLOCK, refused(AnswerCode.INTERRUPTED, text))

    async def restore(self, text: str | LongText, where: str) -> Answer:
        """Replace the current rig with this text, if it is valid: the player wishes it."""
        return await self._replace(partial(replaced, new=text, where=where), where)

    async def _restore_dump(self, dump: DumpCollector, where: str) -> Answer:
        """The same for a whole dump that came by MIDI, which must be allowed and may not change everything."""
        if not self._restores:
            return _NOT_RESTORED
        return await self._bounded(dump, where, "over MIDI")

    async def replace(self, text: str | LongText, where: str) -> Answer:
        """The same for a text that a page sends."""
        return await self._bounded(text, where, "from a page")

    async def _bounded(self, sent: SentRig, where: str, way: str) -> Answer:
        change = partial(replaced_from_outside, new=sent, where=where, source=str(self._session.file), way=way)
        return await self._replace(change, where)

    async def _replace(self, change: Change, where: str) -> Answer:
        return await self._session.edit(lambda: (change, f"the rig from {where} plays"))

    # A route

    async def _set_route(self, route: RouteRequest) -> Answer:
        return await self._session.edit(partial(self._routed, route))

    def _routed(self, route: RouteRequest) -> tuple[Change, str] | Answer:
        """The change that sets a route, or the answer if there is nothing to change."""
        engine = self._show.engine
        inputs, outputs = list(engine.rig.inputs), list(engine.rig.outputs)
        known = route.input <= len(inputs) and route.output <= len(outputs)
        stack = engine.state.stack_of[engine.inputs.index(inputs[route.input - 1])] if known else None
        if stack is None or stack.in_force is None:
            text = f"there is no input {route.input}, no output {route.output} or no scene"
            return refused(AnswerCode.BAD_REQUEST, text)
        source, target, (number, _) = inputs[route.input - 1], outputs[route.output - 1], stack.in_force
        try:
            lists = scene_snapshot.with_route(engine, engine.rig.scene(number), source, target, route.on)
        except ValueError as fault:
            return refused(AnswerCode.NOT_POSSIBLE, str(fault))
        if lists is None:
            is_so = "already" if route.on else "not"
            return unchanged(f"scene {number}: {source} is {is_so} connected to {target}")
        done = f"scene {number}: {source} {'connected to' if route.on else 'disconnected from'} {target}"
        return partial(scene_edits.set_lists, number=number, lists=lists), done

    def _answer(self, source: int, command: int, answer: Answer) -> None:
        show = self._show
        reply = answer_reply(show.engine.state.compiled.remote.device, command, answer.done, answer.text)
        show.send((output, reply) for output in show.engine.state.compiled.remote.reply_to)
        show.tell(show.inputs[source], answer.text)
