"""Requests of other machines that take worker threads: set a route by SysEx, send the rig as a dump, restore it."""

from functools import partial
from typing import Final

import trio

from engine.core import scene_snapshot
from engine.core.control import rig_dump
from engine.core.control.remote_messages import BLOCK, SET_ROUTE, RemoteRequest, RouteRequest, answer_reply
from engine.live.edit.rig_session import RigSession
from engine.live.edit.rig_texts import Change
from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, refused, unchanged
from engine.rig.edit import scene_edits

_ROUND: Final = 0.05  # seconds between looks for requests
_PATIENCE: Final = 5_000_000_000  # ns without a block after which a dump has stopped


class RemoteWork:
    """Carries out the requests for one show."""

    def __init__(self, show: Show, session: RigSession) -> None:
        self._show = show
        self._session = session
        self._collectors: dict[
            int, tuple[rig_dump.DumpCollector, int]
        ] = {}  # by input: a dump that comes in, and when its last block came (ns)

    async def run(self) -> None:
        """Look again and again, until cancelled."""
        while True:
            await trio.sleep(_ROUND)
            requests = self._show.engine.reports.requests
            asked = requests.copy()
            requests.clear()
            self._give_up()
            for source, request in asked:
                try:
                    await self._carry_out(source, request)
                except Exception as fault:  # it costs this request, not the show
                    self._show.own_fault(f"carrying out {request.do} from {self._show.inputs[source]}", fault)

    async def _carry_out(self, source: int, request: RemoteRequest) -> None:
        if request.do == "ask backup":
            self.send_backup(self._show.engine.state.compiled.remote.reply_to)
        elif request.do == "block" and isinstance(request.data, bytes):
            await self._take_block(source, request.data)
        elif request.do == "route" and isinstance(request.data, RouteRequest):
            self._answer(source, SET_ROUTE, await self._set_route(request.data))

    def send_backup(self, outputs: tuple[int, ...]) -> int:
        """Send the current rig as a dump; the number of blocks."""
        blocks = rig_dump.blocks(self._session.text, self._show.engine.state.compiled.remote.device)
        self._show.send((output, block) for block in blocks for output in outputs)
        return len(blocks)

    async def _take_block(self, source: int, block: bytes) -> None:
        now = self._show.clock()
        collector, last_at = self._collectors.get(source, (rig_dump.DumpCollector(), now))
        if now - last_at > _PATIENCE:
            collector = rig_dump.DumpCollector()
        found = collector.take(block)
        if not isinstance(found, str):
            self._collectors[source] = collector, now
            if not found.taken:
                self._show.tell(self._show.inputs[source], found.news)
            return
        self._collectors.pop(source, None)
        self._answer(source, BLOCK, await self.restore(found, f"a dump on {self._show.inputs[source]}"))

    def _give_up(self) -> None:
        """Report and forget a dump that has stopped half way."""
        now = self._show.clock()
        for source, (collector, last_at) in list(self._collectors.items()):
            if now - last_at > _PATIENCE:
                del self._collectors[source]
                text = collector.progress("the dump has stopped").text
                self._answer(source, BLOCK, refused(AnswerCode.INTERRUPTED, text))

    async def restore(self, text: str, where: str) -> Answer:
        """Replace the current rig with this text, if it is valid."""
        if text == self._session.text:
            return unchanged(f"the rig from {where} is already current")
        return await self._session.edit(lambda: (text, f"the rig from {where} plays"))

    async def _set_route(self, route: RouteRequest) -> Answer:
        return await self._session.edit(partial(self._routed, route))

    def _routed(self, route: RouteRequest) -> tuple[Change, str] | Answer:
        """The change that sets a route, or the answer if there is nothing to change."""
        engine = self._show.engine
        inputs, outputs = list(engine.rig.inputs), list(engine.rig.outputs)
        if engine.scene is None or route.input > len(inputs) or route.output > len(outputs):
            text = f"there is no input {route.input}, no output {route.output} or no scene"
            return refused(AnswerCode.BAD_REQUEST, text)
        source, target = inputs[route.input - 1], outputs[route.output - 1]
        try:
            routes = scene_snapshot.with_route(engine, scene_snapshot.in_force(engine), source, target, route.on)
        except ValueError as fault:
            return refused(AnswerCode.NOT_POSSIBLE, str(fault))
        if routes is None:
            is_so = "already" if route.on else "not"
            return unchanged(f"scene {engine.scene[0]}: {source} is {is_so} connected to {target}")
        done = f"scene {engine.scene[0]}: {source} {'connected to' if route.on else 'disconnected from'} {target}"
        return partial(scene_edits.set_routes, number=engine.scene[0], routes=routes), done

    def _answer(self, source: int, command: int, answer: Answer) -> None:
        show = self._show
        reply = answer_reply(show.engine.state.compiled.remote.device, command, answer.done, answer.text)
        show.send((output, reply) for output in show.engine.state.compiled.remote.reply_to)
        show.tell(show.inputs[source], answer.text)
