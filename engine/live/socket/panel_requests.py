"""What the front panel asks for beside the show: the rig, filters, ports, what a message would do, a test note.

Whatever takes long is done in a worker thread.
"""

from collections.abc import Sequence
from functools import cache, partial
from typing import Any, Final

import trio
from pydantic import BaseModel
from pydantic.errors import PydanticInvalidForJsonSchema, PydanticSchemaGenerationError

from engine.core.commands import PlayTestNote
from engine.core.control.control_learning import learn
from engine.core.routing.explain import RouteVerdict, explain, shown
from engine.core.scene_snapshot import channel_of
from engine.live.cable_load import CableLoad
from engine.live.edit.rig_session import RigSession
from engine.live.edit.route_edits import unknown_scene
from engine.live.gear.output_readiness import not_ready
from engine.live.gear.port_listening import PortListening
from engine.live.meters import PortMeter
from engine.live.process.worker_threads import in_a_thread
from engine.live.show import Show
from engine.live.socket.rig_outline import RigOutline
from engine.midi.message_words import from_hex, note_name
from engine.midi.unit_words import unit_from_hex, unit_in_words
from engine.plurals import counted
from engine.ports.port import PortError, PortSystem
from engine.protocol import (
    Answer,
    AnswerCode,
    DifferencesAnswer,
    DifferencesRequest,
    ExplainAnswer,
    ExplainRequest,
    Facts,
    FiltersAnswer,
    FiltersRequest,
    Handler,
    LearnedAnswer,
    LearnedRequest,
    ListenRequest,
    PlayTestNoteRequest,
    PortsAnswer,
    PortsRequest,
    Request,
    RigAnswer,
    RigRequest,
    done,
    refused,
)
from engine.rig.edit import differences
from engine.rig.gear_words import drum_of
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Rig, Scene, rig_models
from engine.rig.models.scene_lines import Sending
from engine.rig.read.raw_data import no_such
from filters.registry import registry

_TEST_KEY: Final = 60  # middle C
_SNARE: Final = 38  # RP-003, Table 3
_TEST_LENGTH: Final = 500_000_000  # ns


class PanelRequests:
    """Handlers for one show. `load`: the cable load, for those who follow the show."""

    def __init__(self, show: Show, session: RigSession, system: PortSystem) -> None:
        """`system`: where the ports are."""
        self.load = CableLoad(show)
        self._listening = PortListening(system)
        self._show = show
        self._session = session
        self._system = system
        self._outline = RigOutline()
        self._listing = trio.Lock()
        self.handlers: dict[type[Request], Handler] = {
            RigRequest: self._rig,
            FiltersRequest: self._filters,
            ExplainRequest: self._explain,
            PortsRequest: self._ports,
            ListenRequest: self._listen,
            LearnedRequest: self._learned,
            PlayTestNoteRequest: self._test_note,
            DifferencesRequest: self._differences,
        }

    async def run(self) -> None:
        """Measure the load of the cables, and close ports that nobody listens at. Until cancelled."""
        async with trio.open_nursery() as nursery:
            nursery.start_soon(self.load.run)
            nursery.start_soon(self._listening.run)

    async def _rig(self, request: RigRequest) -> Answer:
        show, session = self._show, self._session
        rig, revision, unsaved = show.engine.rig, show.revision, session.unsaved
        since, parts = await in_a_thread(self._outline.parts, rig, revision, request.since)
        text = f"{rig.rig.name}: {counted(len(rig.scenes), 'scene')}"
        if since is not None:
            return RigAnswer(text=text, revision=revision, unsaved=unsaved, since=since, rig=parts)
        return RigAnswer(
            text=text,
            revision=revision,
            unsaved=unsaved,
            rig={"file": str(session.file), **parts},
        )

    async def _filters(self, request: FiltersRequest) -> Answer:
        filters, tables = await in_a_thread(_filters), await in_a_thread(_tables)
        return FiltersAnswer(text="all filters", filters=filters, tables=tables)

    async def _explain(self, request: ExplainRequest) -> Answer:
        state, source = self._show.engine.state, request.input
        rig, muted = state.compiled.rig, set(state.muted)
        stack = state.stack_of[state.compiled.inputs.index(source)] if source in rig.inputs else state.main
        song, transposed = stack.song, state.transposed(stack)
        scene = rig.scene(request.scene)
        if scene is None:
            return unknown_scene(rig, request.scene)
        if source not in rig.inputs:
            return refused(AnswerCode.UNKNOWN_INPUT, no_such("input", source, rig.inputs))
        try:
            messages = unit_from_hex(request.message)
        except ValueError as fault:
            return refused(AnswerCode.BAD_REQUEST, f"{request.message} is not a message; give {fault}")
        return await in_a_thread(_explained, rig, scene, source, messages, muted, song, transposed)

    async def _ports(self, request: PortsRequest) -> Answer:
        show, system = self._show, self._system
        try:
            async with self._listing:  # a system that hangs keeps one thread, however many ask
                inputs, outputs = await in_a_thread(lambda: (system.inputs(), system.outputs()))
        except PortError as fault:
            return refused(AnswerCode.MISSING_PORT, str(fault))
        return PortsAnswer(
            text=f"{counted(len(inputs), 'input port')}, {counted(len(outputs), 'output port')}",
            inputs=_used(inputs, show.inputs, show.ports.in_meters),
            outputs=_used(outputs, show.outputs, show.ports.out_meters),
        )

    async def _listen(self, request: ListenRequest) -> Answer:
        show, rig = self._show, self._show.engine.rig
        open_ones = (meter.port for meter in (*show.ports.in_meters, *show.ports.out_meters))
        wanted = (port.port for port in (*rig.inputs.values(), *rig.outputs.values()))
        used = {name for name in (*open_ones, *wanted) if name is not None}
        return await self._listening.listen(used, rig.rig.middle_c)

    async def _learned(self, request: LearnedRequest) -> Answer:
        try:
            found = learn([(each.at, from_hex(each.message)) for each in request.heard])
        except ValueError as fault:
            return refused(AnswerCode.BAD_REQUEST, f"give messages in hexadecimal: {fault}")
        if found is None:
            text = f"nothing came from {request.input} that a control can react to; is the switch on this input?"
            return LearnedAnswer(text=text, control=None, presses=0, bounce_ms=0.0)
        guard = {} if found.guard is None else {"guard": found.guard}
        control = {"input": request.input, "when": found.when, **guard}
        presses = "1 press" if found.presses == 1 else f"{found.presses} presses"
        return LearnedAnswer(text=presses, control=control, presses=found.presses, bounce_ms=round(found.bounce, 1))

    async def _test_note(self, request: PlayTestNoteRequest) -> Answer:
        show, name = self._show, request.instrument
        instrument = show.engine.rig.instruments.get(name)
        if instrument is None:
            return refused(AnswerCode.UNKNOWN_INSTRUMENT, no_such("instrument", name, show.engine.rig.instruments))
        if (answer := not_ready(show, instrument.output, name)) is not None:
            return answer
        channel = channel_of(show.engine, name)
        key = min(instrument.keys, default=_SNARE if drum_of(instrument, channel, _SNARE) else _TEST_KEY)
        show.apply(PlayTestNote(instrument.output, channel - 1, key, _TEST_LENGTH, request.velocity))
        what = drum_of(instrument, channel, key) or note_name(key, show.engine.rig.rig.middle_c)
        return done(f"{what} for half a second to {name} ({instrument.output}, channel {channel})")

    async def _differences(self, request: DifferencesRequest) -> Answer:
        rig = self._show.engine.rig
        for number in (request.first, request.second):
            if rig.scene(number) is None:
                return unknown_scene(rig, number)
        found = await in_a_thread(partial(differences.scenes, rig, request.first, request.second))
        count = counted(len(found), "difference", zero="no")
        text = f"{count} between scenes {request.first} and {request.second}"
        return DifferencesAnswer(text=text, differences=found)


@cache
def _filters() -> Facts:
    return {name: {"words": one.hears, "schema": _schema(one.settings)} for name, one in registry().items()}


@cache
def _tables() -> Facts:
    lists: dict[str, type[BaseModel]] = {"play": rig_models()["PlayLine"], "enter": Sending, "leave": Sending}
    return {key: _schema(model) for key, model in lists.items()}


def _schema(model: type[BaseModel]) -> dict[str, Any]:
    try:
        return model.model_json_schema()
    except (PydanticInvalidForJsonSchema, PydanticSchemaGenerationError):  # of a plug-in, with a type of its own
        return {"type": "object"}


def _explained(
    rig: Rig,
    scene: Scene,
    source: str,
    messages: Sequence[bytes],
    muted: set[str],
    song: str | None,
    transposed: int,
) -> Answer:
    found = explain(rig, scene, source, messages, song, transposed)
    answer = ExplainAnswer(
        text=f"{unit_in_words(messages, rig.rig.middle_c)} from {source} in scene {scene.number} {scene.name}",
        routes=[_verdict(rig, scene, route, muted) for route in found.routes],
        outputs={name: shown(messages) for name, messages in found.outputs.items() if messages},
    )
    return answer.model_copy(update={"command": found.command.words}) if found.command else answer


def _verdict(rig: Rig, scene: Scene, route: RouteVerdict, muted: set[str]) -> Facts:
    """`route`: "lasting", the place of one of the scene's own, or what a line or an inherited route is called."""
    listed = rig.routes if route.lasting else getattr(WholeScenes(rig).whole(scene), route.kind)
    found = listed[route.place]
    own = next((place for place, each in enumerate(scene.routes) if each is found), route.route)
    return {
        "route": "lasting" if route.lasting else own,
        "name": found.name,
        "muted": not muted.isdisjoint((found.name, found.group)),
        "steps": [{"filter": one.filter, "verdict": one.words} for one in route.filters],
        "to": list(route.outputs),
        "gets": shown(route.result),
    }


def _used(ports: list[str], names: tuple[str, ...], meters: list[PortMeter]) -> list[dict[str, str | None]]:
    used = {meter.port: name for name, meter in zip(names, meters, strict=True) if meter.open}
    return [{"port": port, "used_by": used.get(port)} for port in ports]
