"""Forecast of the load on each cable: clock, time code and playing at a given density against the cable's capacity."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from engine.core.cable.speed import DIN
from engine.core.routing.compiled_scene import SceneCompiler
from engine.core.routing.filter_chain import FilterFaults
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.timing.clock import CLOCK, PER_BEAT
from engine.midi.timecode import RATES
from engine.plurals import some
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig
from filters.registry import registry

#: messages of three bytes per second assumed for one player: a fast passage with pedal, wheel or pressure
DENSITY: Final = 150
_NOTE: Final = 3
_QUARTER_FRAME: Final = 2
_CABLE: Final = 1_000_000_000 // DIN.byte_ns  # bytes per second


@dataclass(frozen=True)
class ForecastLoad:
    """Bytes per second that one output may get in one scene."""

    number: int
    scene: str
    output: str
    clock: int
    timecode: int
    playing: int

    @property
    def share(self) -> float:
        """Part of a DIN cable's capacity: above 1, messages have to wait and are finally shed."""
        return (self.clock + self.timecode + self.playing) / _CABLE


def loads(rig: Rig, density: int = DENSITY) -> Iterator[ForecastLoad]:
    """The load of every scene on every DIN output. `density`: messages per second from each input routed there."""
    clock, code = rig.sync.clock, rig.sync.timecode
    per_clock = round(clock.bpm * PER_BEAT / 60) if clock else 0
    per_code = 0
    if code is not None:
        rate = RATES[code.rate]
        per_code = round(4 * rate.denominator / rate.numerator * _QUARTER_FRAME)
    lowering = Lowering(rig)
    everywhere = lowering.routes(rig.routes, "route")
    for scene in rig.scenes:
        routes = (*everywhere, *lowering.lowered(scene).routes)
        for name, port in rig.outputs.items():
            if port.wire != "din":
                continue
            players = {source for route in routes if name in route.to for source in route.source}
            yield ForecastLoad(
                scene.number,
                scene.name,
                name,
                per_clock if clock and name in clock.to else 0,
                per_code if code and name in code.to else 0,
                len(players) * density * _NOTE,
            )


def warnings(rig: Rig, density: int = DENSITY) -> Iterator[str]:
    """A sentence for each cable that may be overloaded, each meeting of two clocks, and each port that feeds itself."""
    for load in loads(rig, density):
        if load.share > 1:
            yield (
                f"scene {load.number} {load.scene}: {load.output} may need {load.share:.0%} of its cable "
                f"(clock {load.clock}, time code {load.timecode}, playing {load.playing} of {_CABLE} bytes "
                "per second); thin or strip something, or use another output"
            )
    yield from _clocks(rig)
    yield from _own_ports(rig)


def _own_ports(rig: Rig) -> Iterator[str]:
    lowering = Lowering(rig)
    routes = [*lowering.routes(rig.routes, "route")]
    routes += [route for scene in rig.scenes for route in lowering.lowered(scene).routes]
    pairs = dict.fromkeys((source, to) for route in routes for source in route.source for to in route.to)
    for source, to in pairs:
        input_, output = rig.inputs[source], rig.outputs[to]
        if (input_.port, input_.device, rig.home(input_)) == (output.port, output.device, rig.home(output)):
            yield f"{source} plays its own instrument through {to}; turn local control off at that instrument"


def _clocks(rig: Rig) -> Iterator[str]:
    own = set(rig.sync.clock.to) if rig.sync.clock else set()
    names, outputs = tuple(rig.inputs), tuple(rig.outputs)
    met: dict[str, set[str]] = {}
    compiler, faults = SceneCompiler(rig, registry()), FilterFaults()
    for scene in rig.scenes:
        playing = SceneInPlay(compiler.compile(scene), faults)
        reached: dict[str, set[str]] = {}
        for index, name in enumerate(names):
            for output, _ in playing.routes.answer(index, CLOCK, 0).units:
                reached.setdefault(outputs[output], set()).add(name)
        for to, found in reached.items():
            if to in own or len(found) > 1:
                met.setdefault(to, set()).update(found)
    for clocked in (True, False):
        there = [to for to in outputs if to in met and (to in own) == clocked]
        if there:
            players = sorted(set[str]().union(*(met[to] for to in there)), key=names.index)
            yield _meeting(players, there, clocked)


def _meeting(players: Sequence[str], outputs: Sequence[str], own: bool) -> str:
    """What becomes of the clocks of these inputs, which are routed to these outputs; `own`: to where ours goes."""
    routed, several = some(players), len(outputs) > 1
    where = f"{len(outputs)} outputs ({some(outputs)})" if several else outputs[0]
    if own:
        clocks = f"{'clock' if len(players) == 1 else 'clocks'} of {routed}"
        blocked = "is routed there, is blocked" if len(players) == 1 else "are routed there, are blocked"
        return f"{where} {'get' if several else 'gets'} the rig's clock; the {clocks}, which {blocked}"
    return (
        f"clocks of {routed} may meet at {where}; {'each' if several else 'it'} follows the first one until that stops"
    )
