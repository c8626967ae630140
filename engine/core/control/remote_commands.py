"""Carries out what another machine commands (see `remote`); what needs files or threads is left for the show."""

from typing import Final

from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.control.controls import Command
from engine.core.control.remote_messages import RemoteRequest, answer_reply, read_own, routing_reply, scene_reply
from engine.core.control.scenes import Scenes

_TIME: Final = {"play": "start", "halt": "stop", "locate": "locate"}


def carry_out(
    engine: Scenes, now: int, source: int, request: RemoteRequest, message: bytes, out: list[Delivery]
) -> None:
    """One request of an input; its answer goes to the outputs of [remote], what happened to whoever watches."""
    outcomes = _outcomes(engine, now, source, request, out)
    engine.outcomes += outcomes
    said = read_own(message)
    if said is not None:
        for outcome in outcomes:
            _reply(engine, now, answer_reply(engine.device, said.command, outcome.done, outcome.text), out)


def _outcomes(
    engine: Scenes, now: int, source: int, request: RemoteRequest, out: list[Delivery]
) -> list[CommandResult]:
    name = engine.inputs[source]
    if request.do in ("scene", "next", "back", "panic"):
        return [engine.obey(now, Command(request.do, request.scene), name, out)]
    if request.do == "unknown cue":
        return [engine.outcome("scene", False, f"there is no scene for cue {_text(request)}; nothing changed", name)]
    if request.do in ("stop", "resume"):
        return _stop_or_resume(engine, now, request, name, out)
    if request.do in _TIME:
        return [engine.obey_sync(now, "timecode", _TIME[request.do], _text(request), name, out)]
    if request.do == "ask scene":
        number, title = engine.scene or (None, "")
        _reply(engine, now, scene_reply(engine.device, number, title), out)
    elif request.do == "ask routing":
        _reply(
            engine, now, routing_reply(engine.device, engine.scene[0] if engine.scene else None, _pairs(engine)), out
        )
    elif request.do != "bank":
        engine.asked.append((source, request))
    return []


def _text(request: RemoteRequest) -> str | None:
    return request.data if isinstance(request.data, str) else None


def _stop_or_resume(
    engine: Scenes, now: int, request: RemoteRequest, name: str, out: list[Delivery]
) -> list[CommandResult]:
    """Show control stops and resumes whatever runs by itself, clock and time code; of a cue, only while it plays."""
    if request.scene is not None and (engine.scene is None or engine.scene[0] != request.scene):
        return [engine.outcome(request.do, False, f"cue {request.scene} is not playing; nothing changed", name)]
    verbs = {"stop": ("stop", "stop"), "resume": ("continue", "start")}[request.do]
    parts = zip(("clock", "timecode"), verbs, (engine.sync.clock, engine.sync.code), strict=True)
    done = [engine.obey_sync(now, part, verb, None, name, out) for part, verb, there in parts if there is not None]
    return done or [engine.outcome(request.do, False, "this rig has no clock and no time code of its own", name)]


def _reply(engine: Scenes, now: int, message: bytes, out: list[Delivery]) -> None:
    for output in engine.reply_to:
        engine.cables[output].put(now, (message,), out)


def _pairs(engine: Scenes) -> list[tuple[int, int]]:
    """Inputs and outputs that routes of the scene in force join, by their places in the rig file from 1."""
    inputs, outputs = list(engine.rig.inputs), list(engine.rig.outputs)
    scene = engine.rig.scene(engine.scene[0]) if engine.scene else None
    routes = (*engine.rig.routes, *(scene.routes if scene else ()))
    found = {
        (inputs.index(source) + 1, outputs.index(target) + 1)
        for route in routes
        if route.name not in engine.muted
        for source in route.source
        for target in route.to
    }
    return sorted(found)
