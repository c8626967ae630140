"""Edits of one scene's lines, routes, filter chains, burst and facts, as the front panel's patch asks for them.

A request may carry the `revision` of the rig that its author saw. If the rig has changed since, the edit is refused.
"""

from functools import partial

from engine.core import scene_snapshot
from engine.live.edit.rig_texts import Change
from engine.live.show import Show
from engine.plurals import counted
from engine.protocol import (
    Answer,
    AnswerCode,
    BurstRequest,
    ChainRequest,
    ConnectionRequest,
    EditRequest,
    Facts,
    FactsRequest,
    LinesRequest,
    SplitRequest,
    refused,
    unchanged,
)
from engine.rig.edit import scene_edits, scene_references
from engine.rig.models.rig import Rig, Route, Scene
from engine.rig.read.raw_data import no_such
from engine.rig.scene_words import listed_numbers


def unknown_scene(rig: Rig, number: int) -> Answer:
    """The answer to a request for a scene that the rig does not have."""
    numbers = listed_numbers([scene.number for scene in rig.scenes])
    return refused(AnswerCode.UNKNOWN_SCENE, f"there is no scene {number}; there are: {numbers}")


def connection_plan(show: Show, asked: ConnectionRequest, on: bool) -> tuple[Change, str] | Answer:
    """Connect an input with an output, or disconnect them."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    rig, source, target = show.engine.rig, asked.source, asked.to
    if source not in rig.inputs:
        return refused(AnswerCode.UNKNOWN_INPUT, no_such("input", source, rig.inputs))
    if target not in rig.outputs:
        return refused(AnswerCode.UNKNOWN_OUTPUT, no_such("output", target, rig.outputs))
    try:
        lists = scene_snapshot.with_route(show.engine, scene, source, target, on)
    except ValueError as fault:
        return refused(AnswerCode.NOT_POSSIBLE, str(fault))
    if lists is None:
        return unchanged(f"scene {scene.number}: {source} is {'already' if on else 'not'} connected to {target}")
    done = f"scene {scene.number}: {source} {'connected to' if on else 'disconnected from'} {target}"
    done += _followers(show, scene)
    return partial(scene_edits.set_lists, number=scene.number, lists=lists), done


def chain_plan(show: Show, asked: ChainRequest) -> tuple[Change, str] | Answer:
    """Give a route other filters."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    route = _route(scene, asked.route)
    if isinstance(route, Answer):
        return route
    tables = [scene_snapshot.line_table(each) for each in scene.routes]
    tables[asked.route]["through"] = asked.through
    filters = ", ".join(_link(each) for each in asked.through) or "no filter"
    change = partial(scene_edits.set_routes, number=scene.number, routes=tables)
    return change, f"scene {scene.number}: {_name(route)} goes through {filters}{_followers(show, scene)}"


def split_plan(show: Show, asked: SplitRequest) -> tuple[Change, str] | Answer:
    """Give one output of a route a route of its own, which is muted together with the other one."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    route = _route(scene, asked.route)
    if isinstance(route, Answer):
        return route
    others = [each for each in route.to if each != asked.to]
    if len(others) == len(route.to) or not others:
        text = f"{_name(route)} leads to {' and '.join(route.to)}: choose one of several outputs. Nothing was changed"
        return refused(AnswerCode.NOT_POSSIBLE, text)
    tables = [scene_snapshot.line_table(each) for each in scene.routes]
    both = tables[asked.route]
    own = {key: value for key, value in both.items() if key != "name"}
    if route.name is not None and route.group is None and show.engine.rig.format > 1:
        own["group"] = route.name
    tables[asked.route : asked.route + 1] = [{**both, "to": others}, {**own, "to": [asked.to]}]
    change = partial(scene_edits.set_routes, number=scene.number, routes=tables)
    done = f"scene {scene.number}: {' and '.join(route.source)} to {asked.to} is a route of its own"
    return change, f"{done}{_followers(show, scene)}"


def _route(scene: Scene, place: int) -> Route | Answer:
    """One of the scene's own routes."""
    if 0 <= place < len(scene.routes):
        return scene.routes[place]
    routes = counted(len(scene.routes), "route", zero="no")
    return refused(AnswerCode.UNKNOWN_ROUTE, f"scene {scene.number} has {routes}; the first is route 0")


def _name(route: Route) -> str:
    return route.name or f"{' and '.join(route.source)} to {' and '.join(route.to)}"


def _link(link: Facts | str) -> str:
    return f'the chain "{link}"' if isinstance(link, str) else str(link.get("filter"))


def _followers(show: Show, scene: Scene) -> str:
    return scene_references.followers(show.engine.rig, scene.number)


def burst_plan(show: Show, asked: BurstRequest) -> tuple[Change, str] | Answer:
    """Give a scene another burst."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    change = partial(scene_edits.set_burst, number=scene.number, burst=asked.burst)
    steps = counted(len(asked.burst), "step", zero="no")
    return (
        change,
        f"scene {scene.number}: the burst has {steps}{_followers(show, scene)}",
    )


def lines_plan(show: Show, asked: LinesRequest) -> tuple[Change, str] | Answer:
    """Give a scene other play lines."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    change = partial(scene_edits.set_lines, number=scene.number, play=asked.play)
    lines = counted(len(asked.play), "play line", zero="no")
    did = asked.words or f"scene {scene.number} has {lines} of its own"
    return change, f"{did}{_followers(show, scene)}"


def facts_plan(show: Show, asked: FactsRequest) -> tuple[Change, str] | Answer:
    """Give a scene another cue, text, tempo or transposition."""
    scene = _scene(show, asked)
    if isinstance(scene, Answer):
        return scene
    strange = asked.facts.keys() - {*scene_edits.FACTS}
    if strange:
        known = ", ".join(scene_edits.FACTS)
        return refused(
            AnswerCode.NOT_POSSIBLE, f"{', '.join(sorted(strange))}: not a fact of a scene; these are: {known}"
        )
    change = partial(scene_edits.set_facts, number=scene.number, facts=asked.facts)
    did = asked.words or f"scene {scene.number}: new {', '.join(asked.facts)}"
    return change, f"{did}{_followers(show, scene)}"


def _scene(show: Show, asked: EditRequest) -> Scene | Answer:
    """The scene that is to be edited, or why it is not."""
    if asked.revision is not None and asked.revision != show.revision:
        return refused(
            AnswerCode.OUTDATED, "the rig has changed since you looked at it; look again. Nothing was changed"
        )
    scene = show.engine.rig.scene(asked.scene)
    return scene if scene is not None else unknown_scene(show.engine.rig, asked.scene)
