"""What the front panel asks for beside the show itself: the rig, its filters, ports, a message's way, a test note.

Whatever takes long is worked out in a thread, in small pieces where Python's lock is held for each of them.
"""

import json
import reprlib
from functools import cache, partial
from typing import Any, Final

from pydantic.errors import PydanticInvalidForJsonSchema, PydanticSchemaGenerationError

from engine.core.commands import PlayTestNote
from engine.core.routing.explain import RouteVerdict, explain, shown
from engine.live.cable_load import CableLoad
from engine.live.edit.rig_session import Answer, RigSession
from engine.live.edit.route_edits import edit
from engine.live.meters import PortMeter
from engine.live.process.worker_threads import in_a_thread
from engine.live.show import Show
from engine.midi.message_words import describe, from_hex, note_name
from engine.plurals import counted
from engine.ports.port import PortError, PortSystem
from engine.rig.edit import differences
from engine.rig.models.rig import Rig, Scene
from engine.rig.rig_as_json import outline
from filters.registry import FilterSettings, registry

#: requests that are answered here
ASKED: Final = ("rig", "filters", "edit", "explain", "ports", "test note", "differences")
_TEST_KEY: Final = 60  # middle C
_TEST_LENGTH: Final = 500_000_000  # ns
_DEEP: Final = 4  # levels of an answer that are written piece by piece: a scene of a rig is one piece


class PanelRequests:
    """Answers for one show. `gauge` is for whoever follows."""

    def __init__(self, show: Show, workshop: RigSession, system: PortSystem) -> None:
        """`system`: where the ports are."""
        self.gauge = CableLoad(show)
        self._show = show
        self._workshop = workshop
        self._system = system

    async def answer(self, request: dict[str, Any]) -> bytes:
        """To {"do": one of ASKED, …}: the answer as JSON."""
        try:
            return (await in_a_thread(partial(_written, await self._obey(request), _DEEP))).encode()
        except Exception as fault:  # it costs this request, not the show
            text = self._show.own_fault(f"answering {reprlib.repr(request)}", fault)
            return json.dumps({"done": False, "text": text}).encode()

    async def _obey(self, request: dict[str, Any]) -> Answer:
        match request["do"]:
            case "rig":
                return await self._rig()
            case "filters":
                return {"done": True, "text": "the filters there are", "filters": await in_a_thread(_filters)}
            case "edit":
                return await edit(self._show, self._workshop, request)
            case "explain":
                return await self._explain(request.get("scene"), request.get("input"), request.get("message"))
            case "ports":
                return await self._ports()
            case "test note":
                return self._test_note(request.get("instrument"))
            case _:
                return await self._differences(request.get("first"), request.get("second"))

    async def _rig(self) -> Answer:
        show, workshop = self._show, self._workshop
        rig, revision, unsaved = show.engine.rig, show.revision, workshop.unsaved
        told = {"file": str(workshop.file), **await in_a_thread(partial(outline, rig))}
        text = f"{rig.rig.name}: {len(rig.scenes)} scenes"
        return {"done": True, "text": text, "revision": revision, "unsaved": unsaved, "rig": told}

    async def _explain(self, number: object, source: object, message: object) -> Answer:
        rig, muted = self._show.engine.rig, set(self._show.engine.state.muted)
        scene = _scene(rig, number)
        if scene is None:
            return _no_scene(rig, number)
        if not isinstance(source, str) or source not in rig.inputs:
            return {"done": False, "text": f"there is no input {source}; there are {', '.join(rig.inputs)}"}
        try:
            asked = from_hex(str(message))
        except ValueError as fault:
            return {"done": False, "text": f"{message} is no message; give {fault}"}
        found = await in_a_thread(partial(explain, rig, scene, source, asked))
        return {
            "done": True,
            "text": f"{describe(asked)} from {source} in scene {scene.number} {scene.name}",
            "routes": [_verdict(rig, scene, route, muted) for route in found.routes],
            "outputs": {name: shown(messages) for name, messages in found.outputs.items() if messages},
            **({"command": found.command.words} if found.command else {}),
        }

    async def _ports(self) -> Answer:
        show, system = self._show, self._system
        try:
            inputs, outputs = await in_a_thread(lambda: (system.inputs(), system.outputs()))
        except PortError as fault:
            return {"done": False, "text": str(fault)}
        return {
            "done": True,
            "text": f"{len(inputs)} ports can be heard and {len(outputs)} played to",
            "inputs": _used(inputs, show.inputs, show.ports.in_meters),
            "outputs": _used(outputs, show.outputs, show.ports.out_meters),
        }

    def _test_note(self, name: object) -> Answer:
        show = self._show
        gear = show.engine.rig.instruments.get(name) if isinstance(name, str) else None
        if gear is None:
            known = ", ".join(show.engine.rig.instruments) or "none"
            return {"done": False, "text": f"there is no instrument {name}; there is {known}"}
        output = show.outputs.index(gear.output)
        if output in show.ports.missing()[1]:
            return {"done": False, "text": f"output {gear.output} of {name} is missing; nothing was sent"}
        if output in show.ports.stuck() or show.engine.state.cables[output].full:
            return {"done": False, "text": f"output {gear.output} of {name} takes nothing more now; nothing was sent"}
        show.apply(PlayTestNote(gear.output, gear.channel - 1, _TEST_KEY, _TEST_LENGTH))
        where = f"{gear.output}, channel {gear.channel}"
        return {"done": True, "text": f"{note_name(_TEST_KEY)} for half a second to {name} ({where})"}

    async def _differences(self, first: object, second: object) -> Answer:
        rig = self._show.engine.rig
        found = _scene(rig, first), _scene(rig, second)
        if found[0] is None or found[1] is None:
            return _no_scene(rig, first if found[0] is None else second)
        one, other = found[0].number, found[1].number
        told = await in_a_thread(partial(differences.scenes, rig, one, other))
        count = counted(len(told), "difference", zero="no")
        return {"done": True, "text": f"{count} between scenes {one} and {other}", "differences": told}


def _written(found: Any, deep: int) -> str:
    """As JSON. The library keeps Python's lock while it writes, so it gets no more than a small piece at a time."""
    if deep and isinstance(found, dict):
        inner = ", ".join(f"{json.dumps(key)}: {_written(value, deep - 1)}" for key, value in found.items())
        return f"{{{inner}}}"
    if deep and isinstance(found, list):
        return f"[{', '.join(_written(each, deep - 1) for each in found)}]"
    return json.dumps(found)


@cache
def _filters() -> dict[str, Any]:
    return {name: {"words": one.hears, "schema": _schema(one.settings)} for name, one in registry().items()}


def _schema(settings: type[FilterSettings]) -> dict[str, Any]:
    try:
        return settings.model_json_schema()
    except (PydanticInvalidForJsonSchema, PydanticSchemaGenerationError):  # of a plug-in, with a type of its own
        return {"type": "object"}


def _scene(rig: Rig, number: object) -> Scene | None:
    return rig.scene(number) if type(number) is int else None


def _no_scene(rig: Rig, number: object) -> Answer:
    there = ", ".join(str(scene.number) for scene in rig.scenes)
    return {"done": False, "text": f"there is no scene {number}; there are {there}"}


def _verdict(rig: Rig, scene: Scene, route: RouteVerdict, muted: set[str]) -> Answer:
    name = (rig.routes if route.lasting else scene.routes)[route.place].name
    return {
        "route": "lasting" if route.lasting else route.place,
        "name": name,
        "muted": name in muted,
        "steps": [{"filter": one.filter, "verdict": one.words} for one in route.filters],
        "to": list(route.outputs),
        "gets": shown(route.result),
    }


def _used(ports: list[str], names: tuple[str, ...], meters: list[PortMeter]) -> list[dict[str, str | None]]:
    used = {meter.port: name for name, meter in zip(names, meters, strict=True) if meter.open}
    return [{"port": port, "used_by": used.get(port)} for port in ports]
