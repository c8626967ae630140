"""A scene as routes alone: each play line becomes a route through a chain of filters, its sound a step of the burst.

What a line says is done by the same filters that a route may have: first those that look at what came in (channel,
ranges, what does not pass), then the transposition, the line's own chain, and the instrument's channel or MPE zone.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Final, Literal, NamedTuple

from engine.midi.controllers import BANKS, PEDALS
from engine.rig.lowering.whole_scenes import Place, WholeScenes, place_of
from engine.rig.lowering.zone_lines import to_instrument
from engine.rig.models.rig import BurstStep, Instrument, Rig, Route, Scene
from engine.rig.models.scene_lines import Chain, PlayLine
from engine.rig.models.values import STOPS
from filters import channels, strip, transpose, zone
from filters.registry import FilterSettings

Filters = tuple[FilterSettings, ...]

_ALL: Final = (0, 127)
#: what passes a line only with `programs = true`, and only without `pedal = false`
_PROGRAMS: Final = ("program", *(f"controller {number}" for number in BANKS), "channel_mode")
_PEDALS: Final = tuple(f"controller {number}" for number in PEDALS)


class LoweredRoute(NamedTuple):
    """One route or play line, from inputs through filters to outputs, all by name.

    `label`: what reports call it; `place`: among the routes or among the lines of the whole scene, from 0; `channel`:
    the one (0 to 15) that everything arrives on, None if there are several; `group`: with which it is muted.
    """

    label: str
    name: str | None
    source: tuple[str, ...]
    through: Filters
    to: tuple[str, ...]
    kind: Literal["routes", "play"]
    place: int
    channel: int | None = None
    group: str | None = None


class LoweredScene(NamedTuple):
    """A whole scene, its own routes and lines as routes, and the steps of its burst, one for each channel."""

    whole: Scene
    routes: tuple[LoweredRoute, ...]
    burst: tuple[BurstStep, ...]


class ArrivalChain(NamedTuple):
    """What is done to everything that arrives on these channels (0 to 15) of an output, for these instruments."""

    instruments: tuple[str, ...]
    by_channel: Mapping[int, Filters]

    def concerns(self, channel: int | None) -> bool:
        """Whether anything that arrives on this channel, or on any one (None), may be changed."""
        return channel is None or channel in self.by_channel


class Lowering:
    """Lowers the scenes of one rig, which has passed the checks."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self.scenes = WholeScenes(rig)

    def lowered(self, scene: Scene, transposed: int = 0) -> LoweredScene:
        """A scene with all that it inherits; `transposed`: by song and step, in semitones."""
        whole = self.scenes.whole(scene)
        routes = self.routes(whole.routes, "scene route")
        lines = tuple(self._line(line, place, whole, transposed) for place, line in enumerate(whole.play))
        return LoweredScene(whole, routes + lines, self._burst(whole))

    def routes(self, routes: Sequence[Route], what: str) -> tuple[LoweredRoute, ...]:
        """Routes as they are; `what` is what one without a name is called."""
        return tuple(
            LoweredRoute(
                route.name or f"{what} {place + 1}",
                route.name,
                tuple(dict.fromkeys(route.source)),
                self._filters(route.through),
                tuple(dict.fromkeys(route.to)),
                "routes",
                place,
                group=route.group,
            )
            for place, route in enumerate(routes)
        )

    def departing(self, source: str) -> Filters:
        """What an input does to everything that it sends on."""
        found = self._rig.inputs[source]
        kinds = tuple(kind for word in found.stop for kind in STOPS.get(word, (word,)))
        return (*_stripped(kinds), *self._filters(found.through))

    def arriving(self, output: str) -> ArrivalChain | None:
        """What the instruments of an output do to everything that arrives on their channels."""
        by_channel: dict[int, Filters] = {}
        names = []
        for name, gear in self._rig.instruments.items():
            if gear.output == output and gear.through:
                names.append(name)
                for number in gear.channels if gear.mpe is not None else (gear.channel,):
                    by_channel[number - 1] = by_channel.get(number - 1, ()) + self._filters(gear.through)
        return ArrivalChain(tuple(names), by_channel) if names else None

    def _line(self, line: PlayLine, place: int, scene: Scene, transposed: int) -> LoweredRoute:
        assert line.on is not None  # of an inherited line that is taken away nothing is left
        gear = self._rig.instruments[line.on]
        own = self._filters(line.through)
        through = (
            *_looking_at_what_came_in(line),
            *_transposed(semitones(line, scene, gear, transposed)),
            *own,
            *to_instrument(self._rig.inputs[line.source[0]].mpe, gear, any(each.filter == "mpe" for each in own)),
        )
        label = line.name or f"line {place + 1}"
        source, channel = tuple(dict.fromkeys(line.source)), None if gear.mpe is not None else gear.channel - 1
        return LoweredRoute(label, line.name, source, through, (gear.output,), "play", place, channel, line.group)

    def _burst(self, whole: Scene) -> tuple[BurstStep, ...]:
        steps: dict[Place, BurstStep] = {place_of(self._rig, step): step for step in whole.burst if not step.blank}
        for line in whole.play:
            if line.sound is not None:
                steps[place_of(self._rig, line)] = BurstStep(instrument=line.on, sound=line.sound)
        return tuple(steps.values())

    def _filters(self, through: Chain) -> Filters:
        """The filters of a chain, with those of the chains that it names."""
        found: list[FilterSettings] = []
        for each in through:
            found += self._filters(self._rig.chains[each]) if isinstance(each, str) else (each,)
        return tuple(found)


def semitones(line: PlayLine, scene: Scene, gear: Instrument, transposed: int = 0) -> int:
    """How far a line is transposed in all: by itself, by its scene, and by song and step (`transposed`).

    Drums know only the line's own transposition.
    """
    return line.transpose + (0 if gear.drums else scene.transpose + transposed)


# The filters of a line. Equal ones are one, so that scenes share what is compiled of them.


def _looking_at_what_came_in(line: PlayLine) -> Filters:
    kept = (_kept(line.channel),) if line.channel is not None else ()
    ranges = (_ranges(line.notes, line.velocity),) if (line.notes, line.velocity) != (_ALL, _ALL) else ()
    kinds = (() if line.programs else _PROGRAMS) + (() if line.pedal else _PEDALS)
    return (*kept, *ranges, *_stripped(kinds))


@cache
def _stripped(kinds: tuple[str, ...]) -> Filters:
    return (strip.Settings(filter="strip", kinds=kinds),) if kinds else ()


@cache
def _kept(channel: int) -> FilterSettings:
    return channels.Settings(filter="channels", keep=(channel,))


@cache
def _ranges(notes: tuple[int, int], velocity: tuple[int, int]) -> FilterSettings:
    return zone.Settings(filter="zone", notes=notes, velocity=velocity)


@cache
def _transposed(by: int) -> Filters:
    limited = max(-127, min(127, by))
    return (transpose.Settings(filter="transpose", semitones=limited),) if by else ()
