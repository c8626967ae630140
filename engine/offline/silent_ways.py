"""Routes and lines that nothing can hear, and instruments that nothing reaches: found by asking the compiled scenes."""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from engine.core.routing.compiled_scene import Paths, RoutePath, SceneCompiler
from engine.offline.asked_paths import PathAsker, Reach, second_bytes
from engine.offline.rig_finding import LinePlaces, RigFinding
from engine.plurals import plural, some
from engine.rig.lowering.lowered_scene import Filters, LoweredRoute, Lowering
from engine.rig.models.rig import Instrument, Rig, Scene
from engine.rig.read.raw_data import Keys
from filters.registry import registry

_MOST: Final = 600_000  # messages that are asked, some seconds


class _Way(NamedTuple):
    """One route or line from one input, and everything that decides where its messages arrive."""

    path: RoutePath
    route: LoweredRoute
    source: str
    filters: Filters

    @property
    def alike(self) -> tuple[str, tuple[int, ...]]:
        """Equal for ways on which every message fares alike."""
        return repr(self.filters), self.path.outputs


class SilentWays:
    """Looks at each route and line of each scene; ways that are alike are asked once."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._lowering, self._places = Lowering(rig), LinePlaces(rig)
        self._asker = PathAsker(_MOST)
        self._inputs, self._outputs = tuple(rig.inputs), tuple(rig.outputs)
        self._known: dict[object, str | None] = {}
        self._usual: dict[object, tuple[_Way, Reach]] = {}
        self._reached: set[tuple[str, int]] = set()  # outputs with channels, 0 to 15
        self._unsure: set[str] = set()  # outputs of ways that could not be asked wholly
        self._set: set[tuple[str, int]] = set()  # where bursts and sent messages go

    def findings(self) -> Iterator[RigFinding]:
        """Ways, then instruments."""
        lowered = {scene.number: self._lowering.lowered(scene) for scene in self._rig.scenes}
        for scene in lowered.values():
            self._set.update(self._burst_places(scene.burst, (*scene.whole.enter, *scene.whole.leave)))
        compiler = SceneCompiler(self._rig, registry())
        everywhere = self._lowering.routes(self._rig.routes, "route")
        yield from self._silent(compiler.everywhere, everywhere, None)
        for each in self._rig.scenes:
            yield from self._silent(compiler.compile(each).own, lowered[each.number].routes, each)
        yield from self._unreached()

    def _burst_places(self, burst: Sequence[object], sent: Sequence[object]) -> Iterator[tuple[str, int]]:
        for step in (*burst, *sent):
            name = getattr(step, "instrument", None) or getattr(step, "on", None)
            output, channel = getattr(step, "output", None) or getattr(step, "to", None), getattr(step, "channel", None)
            if name is not None:
                yield self._place(self._rig.instruments[name])
            elif output is not None:
                yield from ((output, each) for each in (range(16) if channel is None else (channel - 1,)))

    def _place(self, gear: Instrument) -> tuple[str, int]:
        return gear.output, gear.channel - 1

    # Routes and lines

    def _silent(self, paths: Paths, routes: Sequence[LoweredRoute], scene: Scene | None) -> Iterator[RigFinding]:
        known = {(route.kind, route.place): route for route in routes}
        for source, listed in zip(self._inputs, paths, strict=True):
            for path in listed:
                route = known[path.kind, path.place]
                way = _Way(path, route, source, self._filters(source, path, route))
                if way.alike not in self._known:
                    self._known[way.alike] = self._verdict(way)
                said = self._known[way.alike]
                if said is not None:
                    keys: Keys = self._places.of(scene, route) if scene is not None else ("routes", route.place)
                    yield RigFinding(keys, scene, f"{route.label} from {source} {said}")

    def _filters(self, source: str, path: RoutePath, route: LoweredRoute) -> Filters:
        arriving = [self._lowering.arriving(self._outputs[output]) for output in path.outputs]
        at_end = [one for each in arriving if each is not None for chain in each.by_channel.values() for one in chain]
        return (*self._lowering.departing(source), *route.through, *at_end)

    def _verdict(self, way: _Way) -> str | None:
        """What is wrong, and a remedy; None if it can be heard, or if that would take too long to find out."""
        heard = self._listening(way.path)
        usual = self._asker.usual(way.path)
        self._note(way.path, usual)
        self._usual[way.alike] = way, usual
        if usual.notes and (heard is None or usual.notes & heard):
            return None
        whole = self._asker.whole(way.path, way.filters)
        if whole is None:
            self._unsure.update(self._outputs[output] for output in way.path.outputs)
            return None
        self._note(way.path, whole)
        if not whole.channels:
            return self._no_note(way) if self._asker.system(way.path) else self._nothing(way)
        if heard is not None and not whole.channels & heard:
            return self._wrong_channel(way, whole)
        return None if whole.notes else self._no_note(way)

    def _nothing(self, way: _Way) -> str:
        name, _ = self._asker.last_link(way.path, second_bytes(way.filters))
        return f'lets nothing through; the filter "{name}" stops the last that is left; change it or take it out'

    def _no_note(self, way: _Way) -> str | None:
        """A way without notes is meant so where one filter stops them all."""
        name, alone = self._asker.last_link(way.path, second_bytes(way.filters))
        if alone or not name:
            return None
        channels = name == "channels"
        return (
            f'lets no note through: all that reach the filter "{name}" are '
            f"{'on channels that it stops' if channels else 'outside its range'}; "
            f"compare it with the {'channels' if channels else 'ranges'} before it"
        )

    def _wrong_channel(self, way: _Way, whole: Reach) -> str:
        outputs = [self._outputs[output] for output in way.path.outputs]
        gear = {name: each.channel for name, each in self._rig.instruments.items() if each.output in outputs}
        name, channel = next(iter(gear.items()))
        listening = some([f"{each} on {number}" for each, number in gear.items()])
        arrives = some([str(each + 1) for each in sorted(whole.channels)])
        channels = plural(len(whole.channels), "channel")
        return (
            f"ends on {channels} {arrives} of {some(outputs)}, where nothing listens; these do: {listening}. "
            f'Send it on channel {channel}, or write play = [{{ from = "{way.source}", on = "{name}" }}]'
        )

    def _listening(self, path: RoutePath) -> frozenset[int] | None:
        """The channels on which something listens at the ends of a path; None if one of the outputs is unknown gear."""
        channels = set[int]()
        for name in (self._outputs[output] for output in path.outputs):
            here = [gear for gear in self._rig.instruments.values() if gear.output == name]
            own = {channel - 1 for gear in here for channel in gear.channels}
            if not own:
                return None
            channels |= own | {channel for output, channel in self._set if output == name}
        return frozenset(channels)

    # Instruments

    def _note(self, path: RoutePath, reach: Reach) -> None:
        names = [self._outputs[output] for output in path.outputs]
        self._reached.update((name, channel) for name in names for channel in reach.channels)

    def _unreached(self) -> Iterator[RigFinding]:
        clocked = self._rig.sync.clock.to if self._rig.sync.clock is not None else ()
        for name, gear in self._rig.instruments.items():
            if gear.output in clocked or self._place(gear) in self._set or self._is_reached(gear):
                continue
            remedy = f'write play = [{{ from = INPUT, on = "{name}" }}] in a scene, or leave the instrument out'
            yield RigFinding(("instruments", name), None, f"nothing reaches the instrument {name}; {remedy}")

    def _is_reached(self, gear: Instrument) -> bool:
        """Whether anything arrives there, or might."""
        own = {(gear.output, channel - 1) for channel in gear.channels}
        if self._reached & own or gear.output in self._unsure:
            return True
        for way, _ in self._usual.values():
            if gear.output not in (self._outputs[output] for output in way.path.outputs):
                continue
            whole = self._asker.whole(way.path, way.filters)
            if whole is None or any(channel - 1 in whole.channels for channel in gear.channels):
                return True
        return False
