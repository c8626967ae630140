"""A scene made ready to play: the routes of each input, each a chain of filters and the outputs behind it.

Nothing here changes while the rig plays; what a scene remembers is in `engine.core.routing.scene_in_play`.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal, NamedTuple

from engine.core.cable.program_burst import (
    Bursts,
    compile_burst,
    compile_sending,
    device_id,
    one_after_the_other,
)
from engine.core.routing.filter_chain import FilterLink, on_channels
from engine.core.routing.show_in_force import ChainEnds, ChainSurroundings, ShowInForce
from engine.rig.lowering.lowered_scene import ArrivalChain, Filters, LoweredRoute, LoweredScene, Lowering
from engine.rig.models.rig import Rig, Scene
from filters.registry import Filter, FilterSettings


class RoutePath(NamedTuple):
    """One route from one input: through these filters to these outputs."""

    route: str
    links: tuple[FilterLink, ...]
    outputs: tuple[int, ...]
    make: Callable[[], tuple[FilterLink, ...]] = tuple  # makes the links again, in their first state
    lasting: bool = False  # in force in every scene: it keeps what it remembers
    kind: Literal["routes", "play"] = "routes"  # the list that it is in
    place: int = 0  # in that list of the whole scene, or among the lasting ones
    group: str | None = None  # with which it is muted

    def is_called(self, name: str) -> bool:
        """Whether it is the route of this name, or in the group of this name."""
        return name in (self.route, self.group)

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

    def open(self) -> "RoutePath":
        """The same route without the filters that hold values back only for a while."""
        return self._replace(links=tuple(link for link in self.links if not link.passes_later))


#: by input, its routes in the rig's order
Paths = tuple[tuple[RoutePath, ...], ...]


@dataclass(frozen=True)
class CompiledScene:
    """One scene. `everywhere`: the routes of every scene; `own`: its own; `bursts`: its sounds and the values that it
    sets, which may be sent again at any time.

    `cuts`: whether notes that are held when it is recalled end there; `entering`: the burst of a recall, which has
    events, too; `leaving`: what is sent when it is left; `tempo`: what the rig's own clock is set to, if anything;
    `transposed`: its own routes, transposed by so many semitones by song and foot.
    """

    number: int
    name: str
    cuts: bool
    everywhere: Paths
    own: Paths
    bursts: Bursts
    entering: Bursts
    leaving: Bursts
    tempo: float | None
    transposed: Callable[[int], Paths] = field(compare=False, repr=False)

    def moved(self, semitones: int) -> "CompiledScene":
        """The scene as song and foot transpose it."""
        return replace(self, own=self.transposed(semitones)) if semitones and self.may_be_transposed else self

    @property
    def may_be_transposed(self) -> bool:
        """Whether songs and the foot transpose anything of it."""
        return any(path.kind == "play" for paths in self.own for path in paths)


class _Before(NamedTuple):
    """The rig before an edit: its scenes as they were written and compiled, and which of them are untouched, so far as
    that is known; all by number."""

    lowering: Lowering
    scenes: Mapping[int, Scene]
    compiled: Mapping[int, CompiledScene]
    untouched: dict[int, bool]


class SceneCompiler:
    """Compiles a rig's scenes. Routes in force in every scene are compiled once, and all scenes share them."""

    def __init__(
        self,
        rig: Rig,
        filters: Mapping[str, Filter],
        inputs: Sequence[str] | None = None,
        outputs: Sequence[str] | None = None,
        show: ShowInForce | None = None,
    ) -> None:
        """`inputs`, `outputs`: names of ports in the order of their indices, the rig's own if they are not given.

        Routes from other inputs than these are left out. `show`: what filters ask; if it is not given, they have the
        tempo of the rig's own clock, and no value is in force.
        """
        self._rig = rig
        self._show = show or (ShowInForce(rig.sync.clock.bpm) if rig.sync.clock else ShowInForce())
        self._filters = filters
        self._lowering = Lowering(rig)
        self._inputs = {name: index for index, name in enumerate(inputs or rig.inputs)}
        self._outputs = {name: index for index, name in enumerate(outputs or rig.outputs)}
        self._departing = {name: self._lowering.departing(name) for name in self._inputs if name in rig.inputs}
        self._arriving = {name: chain for name in rig.outputs if (chain := self._lowering.arriving(name)) is not None}
        self._without_state: dict[str, FilterLink] = {}  # settings -> one that all routes share
        self._before: _Before | None = None
        self.everywhere = self._paths(self._lowering.routes(rig.routes, "route"), lasting=True)

    def keep(self, before: Rig, scenes: Mapping[int, CompiledScene]) -> None:
        """Keep what is as it was in the rig before, which has the same ports at the same places.

        `scenes`: those that were compiled of it, by number.
        """
        if common(self._rig) == common(before):
            self.everywhere = next(iter(scenes.values())).everywhere
            self._before = _Before(Lowering(before), {scene.number: scene for scene in before.scenes}, scenes, {})

    def compile(self, scene: Scene) -> CompiledScene:
        """Compile one scene."""
        lowered_before = made = None
        if self._before is not None and scene.number in self._before.scenes:
            made = self._before.compiled[scene.number]
            if self._untouched(scene):
                return made
            lowered_before = self._before.lowering.lowered(self._before.scenes[scene.number])
        lowered = self._lowering.lowered(scene)
        if made is not None and lowered_before is not None and lowered_before.routes == lowered.routes:
            own = made.own
        else:
            own = self._paths(lowered.routes, lasting=False)
        return self._compiled(lowered, own, partial(self._transposed, scene))

    def _transposed(self, scene: Scene, by: int) -> Paths:
        return self._paths(self._lowering.lowered(scene, by).routes, lasting=False)

    def _untouched(self, scene: Scene) -> bool:
        """Whether this scene, and all that it is like, are the very ones of the rig before."""
        assert self._before is not None
        each: Scene | None = scene
        while each is not None and self._before.untouched.get(each.number) is None:
            if self._before.scenes.get(each.number) is not each:
                self._before.untouched[scene.number] = False
                return False
            each = self._lowering.scenes.base(each)
        untouched = each is None or self._before.untouched[each.number]
        self._before.untouched[scene.number] = untouched
        return untouched

    def _compiled(self, lowered: LoweredScene, own: Paths, transposed: Callable[[int], Paths]) -> CompiledScene:
        scene = lowered.whole
        sounds = compile_burst(self._rig, lowered.burst, self._outputs)
        entering = compile_sending(self._rig, scene.enter, self._outputs)
        values = {output: tuple(step for step in steps if step.values) for output, steps in entering.items()}
        return CompiledScene(
            scene.number,
            scene.name,
            scene.held == "cut",
            self.everywhere,
            own,
            one_after_the_other(sounds, values),
            one_after_the_other(sounds, entering),
            compile_sending(self._rig, scene.leave, self._outputs, lasting=True),
            scene.tempo,
            transposed,
        )

    def _paths(self, routes: Sequence[LoweredRoute], lasting: bool) -> Paths:
        listed: list[list[RoutePath]] = [[] for _ in self._inputs]
        for route in routes:
            for arriving, to in self._arrivals(route):
                outputs = tuple(self._outputs[name] for name in to)
                for name in (name for name in route.source if name in self._inputs):
                    ends = ChainEnds(self._inputs[name], outputs)
                    make = partial(self._links, self._departing[name] + route.through, arriving, ends)
                    path = RoutePath(route.label, make(), outputs, make, lasting, route.kind, route.place, route.group)
                    listed[self._inputs[name]].append(path)
        return tuple(tuple(paths) for paths in listed)

    def _arrivals(self, route: LoweredRoute) -> Iterator[tuple[ArrivalChain | None, tuple[str, ...]]]:
        """Its outputs, apart where instruments do something to what arrives there."""
        found = {name: self._arriving.get(name) for name in route.to}
        plain = tuple(name for name, chain in found.items() if chain is None or not chain.concerns(route.channel))
        if plain:
            yield None, plain
        for name, chain in found.items():
            if name not in plain:
                yield chain, (name,)

    def _links(self, through: Filters, arriving: ArrivalChain | None, ends: ChainEnds) -> tuple[FilterLink, ...]:
        if arriving is None:
            return self._chain(through, (), ends)
        chains = {channel: self._chain(chain, (), ends) for channel, chain in arriving.by_channel.items()}
        return self._chain(through, (on_channels(", ".join(arriving.instruments), chains),), ends)

    def _chain(self, through: Filters, ending: tuple[FilterLink, ...], ends: ChainEnds) -> tuple[FilterLink, ...]:
        """These filters, and `ending` behind them; each knows what is behind it."""
        chain = ending
        for settings in reversed(through):
            chain = (self._link(settings, ChainSurroundings(self._show, ends, chain)), *chain)
        return chain

    def _link(self, settings: FilterSettings, surroundings: ChainSurroundings) -> FilterLink:
        written = repr(vars(settings))
        link = self._without_state.get(written)
        if link is None:
            entry = self._filters[settings.filter]
            step = entry.build(settings, surroundings)
            link = FilterLink(entry.name, step, entry.keeps_state(settings), entry.keeps_time, entry.passes_later)
            if not link.keeps_state:
                self._without_state[written] = link
        return link


def common(rig: Rig) -> tuple[object, ...]:
    """What all scenes of a rig depend on."""
    stops = {
        name: (each.stop, each.through, each.mpe)
        for name, each in rig.inputs.items()
        if each.stop or each.through or each.mpe
    }
    return stops, rig.instruments, rig.chains, rig.routes, device_id(rig)
