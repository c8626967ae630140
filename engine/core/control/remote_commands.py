"""Carries out what another machine commands (see `remote`); what needs files or threads is left for the show."""

from typing import Final

from engine.core.cable.scheduler import Delivery
from engine.core.command_result import Outcome
from engine.core.control.controls import Command
from engine.core.control.remote_messages import Request, answer_reply, read_own, routing_reply, scene_reply
from engine.core.control.scenes import Scenes

_TIME: Final = {"play": "start", "halt": "stop", "locate": "locate"}


def carry_out(bay: Scenes, now: int, source: int, request: Request, message: bytes, out: list[Delivery]) -> None:
    """One request of an input; its answer goes to the outputs of [remote], what happened to whoever watches."""
    outcomes = _outcomes(bay, now, source, request, out)
    bay.outcomes += outcomes
    said = read_own(message)
    if said is not None:
        for outcome in outcomes:
            _reply(bay, now, answer_reply(bay.device, said.command, outcome.done, outcome.text), out)


def _outcomes(bay: Scenes, now: int, source: int, request: Request, out: list[Delivery]) -> list[Outcome]:
    name = bay.inputs[source]
    if request.do in ("scene", "next", "back", "panic"):
        return [bay.obey(now, Command(request.do, request.scene), name, out)]
    if request.do == "unknown cue":
        return [bay.outcome("scene", False, f"there is no scene for cue {_text(request)}; nothing changed", name)]
    if request.do in ("stop", "resume"):
        return _stop_or_resume(bay, now, request, name, out)
    if request.do in _TIME:
        return [bay.obey_sync(now, "timecode", _TIME[request.do], _text(request), name, out)]
    if request.do == "ask scene":
        number, title = bay.scene or (None, "")
        _reply(bay, now, scene_reply(bay.device, number, title), out)
    elif request.do == "ask routing":
        _reply(bay, now, routing_reply(bay.device, bay.scene[0] if bay.scene else None, _pairs(bay)), out)
    elif request.do != "bank":
        bay.asked.append((source, request))
    return []


def _text(request: Request) -> str | None:
    return request.data if isinstance(request.data, str) else None


def _stop_or_resume(bay: Scenes, now: int, request: Request, name: str, out: list[Delivery]) -> list[Outcome]:
    """Show control stops and resumes whatever runs by itself, clock and time code; of a cue, only while it plays."""
    if request.scene is not None and (bay.scene is None or bay.scene[0] != request.scene):
        return [bay.outcome(request.do, False, f"cue {request.scene} is not playing; nothing changed", name)]
    verbs = {"stop": ("stop", "stop"), "resume": ("continue", "start")}[request.do]
    parts = zip(("clock", "timecode"), verbs, (bay.sync.clock, bay.sync.code), strict=True)
    done = [bay.obey_sync(now, part, verb, None, name, out) for part, verb, there in parts if there is not None]
    return done or [bay.outcome(request.do, False, "this rig has no clock and no time code of its own", name)]


def _reply(bay: Scenes, now: int, message: bytes, out: list[Delivery]) -> None:
    for output in bay.reply_to:
        bay.wires[output].put(now, (message,), out)


def _pairs(bay: Scenes) -> list[tuple[int, int]]:
    """Inputs and outputs that routes of the scene in force join, by their places in the rig file from 1."""
    inputs, outputs = list(bay.rig.inputs), list(bay.rig.outputs)
    scene = bay.rig.scene(bay.scene[0]) if bay.scene else None
    routes = (*bay.rig.routes, *(scene.routes if scene else ()))
    found = {
        (inputs.index(source) + 1, outputs.index(target) + 1)
        for route in routes
        if route.name not in bay.muted
        for source in route.source
        for target in route.to
    }
    return sorted(found)
