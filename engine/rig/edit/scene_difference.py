"""A scene written as its difference from the one that it is like, if it can be said so."""

from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.lowering.whole_scenes import place_of
from engine.rig.models.rig import BurstStep, Rig, Scene
from engine.rig.models.scene_lines import PlayLine

Table = dict[str, Any]
#: the keys that make up what a scene plays
PLAYED: Final = ("play", "routes", "burst", "transpose")


def as_difference(rig: Rig, scene: Scene, wanted: Scene) -> Table | None:
    """What `scene`, which is like another one, must say itself to play what `wanted` plays; by the keys of PLAYED.

    None if it cannot be said: an inherited line without a name cannot be taken away.
    """
    base = Lowering(rig).scenes.base(scene)
    assert base is not None
    inherited = Lowering(rig).scenes.whole(base)
    own = {
        "play": (*_others(wanted.play, inherited.play), *_taken_away(wanted, inherited)),
        "routes": _others(wanted.routes, inherited.routes),
        "burst": _steps(rig, wanted, inherited),
        "transpose": wanted.transpose,
    }
    candidate = scene.model_copy(update=own)
    scenes = tuple(candidate if each.number == scene.number else each for each in rig.scenes)
    if _played(rig.model_copy(update={"scenes": scenes}), candidate) != _played(rig, wanted):
        return None
    if wanted.transpose == inherited.transpose:
        del own["transpose"]
    return {key: [*map(_table, value)] if isinstance(value, tuple) else value for key, value in own.items()}


def _others(wanted: Sequence[Any], inherited: Sequence[Any]) -> tuple[Any, ...]:
    return tuple(each for each in wanted if each not in inherited)


def _taken_away(wanted: Scene, inherited: Scene) -> tuple[PlayLine, ...]:
    """Lines that take away what is inherited by name and not wanted."""
    names = _names(wanted)
    gone = (name for name in _names(inherited) if name not in names)
    return tuple(PlayLine.model_validate({"name": name, "off": True}) for name in gone)


def _names(scene: Scene) -> list[str]:
    """Of its lines and routes."""
    found = (line.name for lines in (scene.play, scene.routes) for line in lines)
    return [name for name in found if name is not None]


def _steps(rig: Rig, wanted: Scene, inherited: Scene) -> tuple[BurstStep, ...]:
    """The steps that are not inherited, and blank ones in the place of inherited sounds that are not wanted."""
    lowering = Lowering(rig)
    left = {place_of(rig, step) for step in lowering.lowered(wanted).burst}
    blank = (
        step.model_copy(update={"sound": None, "program": None, "bank": None})
        for step in lowering.lowered(inherited).burst
        if place_of(rig, step) not in left
    )
    return (*_others(wanted.burst, inherited.burst), *blank)


def _played(rig: Rig, scene: Scene) -> tuple[object, ...]:
    """What a scene plays, in whatever order it is written."""
    lowered = Lowering(rig).lowered(scene)
    routes = Counter(repr((route.name, route.source, route.through, route.to)) for route in lowered.routes)
    return routes, Counter(map(repr, lowered.burst)), lowered.whole.transpose


def _table(one: Any) -> Table:
    table: Table = one.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    return table
