"""A scene made ready to play: the routes of each input, each a chain of filters and the outputs behind it.

Nothing here changes while the rig plays; what a scene remembers is in `engine.core.routing.scene_in_play`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from engine.core.cable.output_cable import BurstUnit
from engine.core.cable.program_burst import compile_burst
from engine.core.timing.tempo_in_force import TempoInForce
from engine.rig.models.rig import Rig, Route, Scene
from filters.registry import Filter, FilterSettings
from filters.registry import Step as FilterStep


class FilterLink(NamedTuple):
    """One filter of a chain."""

    name: str
    step: FilterStep
    keeps_state: bool
    keeps_time: bool = False  # it counts a clock, and a panic does not make it begin again


class RoutePath(NamedTuple):
    """One route from one input: through these filters to these outputs."""

    route: str
    links: tuple[FilterLink, ...]
    outputs: tuple[int, ...]
    make: Callable[[], tuple[FilterLink, ...]] = tuple  # makes the links again, in their first state
    lasting: bool = False  # in force in every scene: it keeps what it remembers
    place: int = 0  # among the scene's routes, or among the lasting ones

    @property
    def keeps_state(self) -> bool:
        """Whether the same message may give another answer the second time."""
        return any(link.keeps_state for link in self.links)

    def renewed(self, keep_time: bool = False) -> "RoutePath":
        """The same route with its filters in their first state; with `keep_time`, but for those that count a clock."""
        links = self.make()
        if keep_time:
            links = tuple(old if old.keeps_time else new for old, new in zip(self.links, links, strict=True))
        return self._replace(links=links)


#: by input, its routes in the rig's order
Paths = tuple[tuple[RoutePath, ...], ...]


@dataclass(frozen=True)
class CompiledScene:
    """One scene. `everywhere`: the routes of every scene; `own`: its own; `bursts`: by output, its sounds.

    `cuts`: whether notes that are held when it is recalled end there.
    """

    number: int
    name: str
    cuts: bool
    everywhere: Paths
    own: Paths
    bursts: Mapping[int, tuple[BurstUnit, ...]]


class SceneCompiler:
    """Compiles a rig's scenes. Routes in force in every scene are compiled once, and all scenes share them."""

    def __init__(
        self,
        rig: Rig,
        filters: Mapping[str, Filter],
        inputs: Sequence[str] | None = None,
        outputs: Sequence[str] | None = None,
        tempo: TempoInForce | None = None,
    ) -> None:
        """`inputs`, `outputs`: names of ports in the order of their indices, the rig's own if they are not given.

        Routes from other inputs than these are left out. `tempo`: for filters that count beats; if it is not given,
        that of the rig's own clock.
        """
        self._rig = rig
        self._tempo = tempo or (TempoInForce(rig.sync.clock.bpm) if rig.sync.clock else TempoInForce())
        self._filters = filters
        self._inputs = {name: index for index, name in enumerate(inputs or rig.inputs)}
        self._outputs = {name: index for index, name in enumerate(outputs or rig.outputs)}
        self._without_state: dict[str, FilterLink] = {}  # settings -> one that all routes share
        self._before: dict[int, tuple[Scene, CompiledScene]] = {}  # by number, of the rig before
        self.everywhere = self._paths(rig.routes, "route", lasting=True)

    def keep(self, before: Rig, scenes: Mapping[int, CompiledScene]) -> None:
        """Keep what is as it was in the rig before, which has the same ports at the same places.

        `scenes`: those that were compiled of it, by number.
        """
        if (self._rig.instruments, self._rig.routes) == (before.instruments, before.routes):
            self.everywhere = next(iter(scenes.values())).everywhere
            self._before = {scene.number: (scene, scenes[scene.number]) for scene in before.scenes}

    def compile(self, scene: Scene) -> CompiledScene:
        """Compile one scene."""
        former, made = self._before.get(scene.number, (None, None))
        if former is None or made is None:
            own, bursts = self._own(scene), self._bursts(scene)
        elif former is scene:
            return made
        else:
            own = made.own if scene.routes == former.routes else self._own(scene)
            bursts = made.bursts if scene.burst == former.burst else self._bursts(scene)
        return CompiledScene(scene.number, scene.name, scene.held == "cut", self.everywhere, own, bursts)

    def _own(self, scene: Scene) -> Paths:
        return self._paths(scene.routes, "scene route", lasting=False)

    def _bursts(self, scene: Scene) -> Mapping[int, tuple[BurstUnit, ...]]:
        return compile_burst(self._rig, scene, self._outputs)

    def _paths(self, routes: Sequence[Route], what: str, lasting: bool) -> Paths:
        listed: list[list[RoutePath]] = [[] for _ in self._inputs]
        for number, route in enumerate(routes, 1):
            outputs = tuple(dict.fromkeys(self._outputs[name] for name in route.to))
            for name in dict.fromkeys(route.source):
                if name not in self._inputs:
                    continue
                make = partial(self._links, route.through)
                label = route.name or f"{what} {number}"
                listed[self._inputs[name]].append(RoutePath(label, make(), outputs, make, lasting, number - 1))
        return tuple(tuple(paths) for paths in listed)

    def _links(self, through: Sequence[FilterSettings]) -> tuple[FilterLink, ...]:
        return tuple(self._link(settings) for settings in through)

    def _link(self, settings: FilterSettings) -> FilterLink:
        written = repr(vars(settings))
        link = self._without_state.get(written)
        if link is None:
            entry = self._filters[settings.filter]
            link = FilterLink(
                entry.name, entry.build(settings, self._tempo), entry.keeps_state(settings), entry.keeps_time
            )
            if not link.keeps_state:
                self._without_state[written] = link
        return link
