"""Scenes with what they inherit: `like` makes a scene by its difference from another one.

Everything but number, cue, name, `at` and text is inherited. A line or route with a name replaces the inherited one of
that name; one without replaces the inherited one without a name that has the same inputs and the same instrument or
outputs, if there is exactly one, and is otherwise added. Steps of a burst replace those of the same channel, as the
sound of a line does; what is sent on entering and leaving is added.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from typing import Any, Final, TypeVar

from engine.rig.models.rig import BurstStep, Rig, Route, Scene
from engine.rig.models.scene_lines import PlayLine

_VALUES: Final = ("tempo", "transpose", "held")

Named = TypeVar("Named", bound=Route | PlayLine)
Place = tuple[str | None, int | None]  # output and channel


class WholeScenes:
    """The scenes of one rig, which has passed the checks."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._called: dict[int | str, Scene] = {scene.number: scene for scene in rig.scenes}
        self._called |= {scene.name: scene for scene in rig.scenes}
        self._known: dict[int, Scene] = {}

    def base(self, scene: Scene) -> Scene | None:
        """The scene that this one is like, if any."""
        return self._called[scene.like] if scene.like is not None else None

    def whole(self, scene: Scene) -> Scene:
        """The scene with all that it inherits; it is not like any other then."""
        missing: list[Scene] = []
        each: Scene | None = scene
        while each is not None and each.number not in self._known:
            missing.append(each)
            each = self.base(each)
        for each in reversed(missing):
            base = self.base(each)
            self._known[each.number] = each if base is None else self._joined(self._known[base.number], each)
        return self._known[scene.number]

    def _joined(self, base: Scene, own: Scene) -> Scene:
        values = {key: getattr(own if key in own.model_fields_set else base, key) for key in _VALUES}
        off = {line.name for line in own.play if line.off}
        lines = tuple(line for line in own.play if not line.off)
        sounding = {place_of(self._rig, line) for line in lines if line.sound is not None}
        stepped = {place_of(self._rig, step) for step in own.burst}
        silent = self._silenced(_without(base.play, off | _names(own.routes)), sounding | stepped)
        steps = [step for step in base.burst if place_of(self._rig, step) not in sounding | stepped]
        lists = {
            "play": _replaced(silent, lines, lambda line: (frozenset(line.source), line.on)),
            "routes": _replaced(
                _without(base.routes, off | _names(lines)),
                own.routes,
                lambda route: (frozenset(route.source), frozenset(route.to)),
            ),
            "burst": (*steps, *own.burst),
            "enter": base.enter + own.enter,
            "leave": base.leave + own.leave,
        }
        return own.model_copy(update={**values, **lists, "like": None})

    def _silenced(self, lines: Sequence[PlayLine], places: Collection[Place]) -> list[PlayLine]:
        """Lines without their sounds where these channels get another one."""
        return [
            line.model_copy(update={"sound": None})
            if line.sound is not None and place_of(self._rig, line) in places
            else line
            for line in lines
        ]


def place_of(rig: Rig, one: PlayLine | BurstStep) -> Place:
    """The output and the channel of a line's or a step's instrument, or of a step without one."""
    name = one.on if isinstance(one, PlayLine) else one.instrument
    if name is not None:
        return rig.instruments[name].output, rig.instruments[name].channel
    return (one.output, one.channel) if isinstance(one, BurstStep) else (None, None)


def _names(lines: Sequence[Route] | Sequence[PlayLine]) -> set[str | None]:
    return {line.name for line in lines if line.name is not None}


def _without(lines: Sequence[Named], names: Collection[str | None]) -> list[Named]:
    return [line for line in lines if line.name is None or line.name not in names]


def _replaced(inherited: Sequence[Named], own: Sequence[Named], ends: Callable[[Named], Any]) -> tuple[Named, ...]:
    """The inherited ones, each in its place or replaced, and then those that replace none."""
    lines: list[Named] = [*inherited]
    added: list[Named] = []
    places: defaultdict[Any, list[int]] = defaultdict(list)  # by name, or by the ends of one without a name
    for place, each in enumerate(inherited):
        places[each.name if each.name is not None else ends(each)].append(place)
    left = set(range(len(inherited)))
    for line in own:
        same = places.get(line.name if line.name is not None else ends(line), [])
        if len(same) == 1 and same[0] in left:
            lines[same[0]] = line
            left.remove(same[0])
        else:
            added.append(line)
    return tuple(lines + added)
