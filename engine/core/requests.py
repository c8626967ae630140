"""Carries out what another machine commands (see `remote`); what needs files or threads is left for the show."""

from typing import TYPE_CHECKING, Final

from engine.core.controls import Command
from engine.core.remote import Request, routing_reply, scene_reply
from engine.core.wire import Delivery

if TYPE_CHECKING:
    from engine.core.bay import Bay

_TIME: Final = {"play": ("start",), "halt": ("stop",), "locate": ("locate",)}


def carry_out(bay: "Bay", now: int, source: int, request: Request, out: list[Delivery]) -> None:
    """One request of an input; its answer goes to the outputs of [remote], what happened to whoever watches."""
    name = bay.inputs[source]
    if request.do in ("scene", "next", "back", "panic"):
        bay.outcomes.append(bay.obey(now, Command(request.do, request.scene), name, out))
    elif request.do == "unknown cue":
        told = f"there is no scene for cue {_text(request)}; nothing changed"
        bay.outcomes.append(bay.outcome("scene", False, told, name))
    elif request.do in ("stop", "resume"):
        _stop_or_resume(bay, now, request.do, name, out)
    elif request.do in _TIME:
        bay.outcomes.append(bay.obey_sync(now, "timecode", _TIME[request.do][0], _text(request), name, out))
    elif request.do == "ask scene":
        number, title = bay.scene or (None, "")
        _reply(bay, now, scene_reply(bay.device, number, title), out)
    elif request.do == "ask routing":
        _reply(bay, now, routing_reply(bay.device, bay.scene[0] if bay.scene else None, _pairs(bay)), out)
    elif request.do != "bank":
        bay.asked.append((source, request))


def _text(request: Request) -> str | None:
    return request.data if isinstance(request.data, str) else None


def _stop_or_resume(bay: "Bay", now: int, do: str, name: str, out: list[Delivery]) -> None:
    """Show control stops and resumes whatever runs by itself: clock and time code."""
    what = {"stop": ("stop", "stop"), "resume": ("continue", "start")}[do]
    for part, verb, there in zip(("clock", "timecode"), what, (bay.sync.clock, bay.sync.code), strict=True):
        if there is not None:
            bay.outcomes.append(bay.obey_sync(now, part, verb, None, name, out))


def _reply(bay: "Bay", now: int, message: bytes, out: list[Delivery]) -> None:
    for output in bay.reply_to:
        bay.wires[output].put(now, (message,), out)


def _pairs(bay: "Bay") -> list[tuple[int, int]]:
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
