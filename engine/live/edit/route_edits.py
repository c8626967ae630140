"""Edits of one scene's routes and burst, as the front panel asks for them: {"do": "edit", "what": …}.

Each plays at once and is unsaved until it is saved. A request may carry the `revision` of the rig that its author
looked at; if that is not the one that plays, nothing is changed.
"""

from functools import partial
from typing import Any, Final, TypeGuard

from engine.core import scene_snapshot
from engine.live.edit.rig_session import Answer, Change, RigSession
from engine.live.show import Show
from engine.plurals import counted
from engine.rig.edit import scene_edits
from engine.rig.models.rig import Scene

Table = dict[str, Any]

_UNKNOWN: Final = {"done": False, "text": "edit takes join, part, chain, burst, undo or redo"}
_CHANGED: Final = {"done": False, "text": "the rig has changed since you looked at it; look again, nothing was changed"}


async def edit(show: Show, workshop: RigSession, request: dict[str, Any]) -> Answer:
    """Carry an edit out; faults come back as sentences with the place in the rig."""
    what = request.get("what")
    if what == "undo":
        return await workshop.take_back()
    if what == "redo":
        return await workshop.redo()
    if what not in ("join", "part", "chain", "burst"):
        return _UNKNOWN
    return await workshop.edit(partial(_planned, show, request))


def _planned(show: Show, request: dict[str, Any]) -> tuple[Change, str] | Answer:
    if request.get("revision", show.revision) != show.revision:
        return _CHANGED
    number = request.get("scene")
    scene = show.engine.rig.scene(number) if type(number) is int else None
    if scene is None:
        numbers = ", ".join(str(each.number) for each in show.engine.rig.scenes)
        return {"done": False, "text": f"there is no scene {number}; there are {numbers}"}
    if request["what"] == "burst":
        return _with_burst(scene, request.get("burst"))
    if request["what"] == "chain":
        return _with_chain(scene, request.get("route"), request.get("through"))
    return _with_way(show, scene, request.get("from"), request.get("to"), request["what"] == "join")


def _with_way(show: Show, scene: Scene, source: object, target: object, on: bool) -> tuple[Change, str] | Answer:
    rig = show.engine.rig
    for what, name, names in (("input", source, rig.inputs), ("output", target, rig.outputs)):
        if not isinstance(name, str) or name not in names:
            return {"done": False, "text": f"there is no {what} {name}; there are {', '.join(names)}"}
    done = f"scene {scene.number}: {source} {'leads' if on else 'does not lead'} to {target}"
    try:
        routes = scene_snapshot.with_route(show.engine, scene, str(source), str(target), on)
    except ValueError as fault:
        return {"done": False, "text": str(fault)}
    if routes is None:
        return {"done": True, "text": f"{done} already"}
    return partial(scene_edits.set_routes, number=scene.number, routes=routes), done


def _with_chain(scene: Scene, route: object, through: object) -> tuple[Change, str] | Answer:
    if type(route) is not int or not 0 <= route < len(scene.routes):
        routes = counted(len(scene.routes), "route", zero="no")
        return {"done": False, "text": f"scene {scene.number} has {routes}; the first is route 0"}
    if not _is_tables(through):
        return {"done": False, "text": "through is a list of filters, each with its settings"}
    tables = [scene_snapshot.route_table(each) for each in scene.routes]
    tables[route]["through"] = through
    chosen = scene.routes[route]
    who = chosen.name or f"{' and '.join(chosen.source)} to {' and '.join(chosen.to)}"
    filters = ", ".join(str(each.get("filter")) for each in through) or "no filter"
    done = f"scene {scene.number}: {who} goes through {filters}"
    return partial(scene_edits.set_routes, number=scene.number, routes=tables), done


def _with_burst(scene: Scene, burst: object) -> tuple[Change, str] | Answer:
    if not _is_tables(burst):
        return {"done": False, "text": "burst is a list of steps"}
    steps = counted(len(burst), "step", zero="no")
    done = f"scene {scene.number}: the burst has {steps}"
    return partial(scene_edits.set_burst, number=scene.number, burst=burst), done


def _is_tables(found: object) -> TypeGuard[list[Table]]:
    return isinstance(found, list) and all(isinstance(each, dict) for each in found)
