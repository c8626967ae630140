"""Lines that lead notes of MPE zones to one ordinary channel, where each of them bends and presses the notes of all."""

from collections.abc import Iterator

from engine.offline.rig_finding import LinePlaces, RigFinding
from engine.rig.lowering.lowered_scene import LoweredRoute, LoweredScene, Lowering
from engine.rig.models.rig import Rig
from engine.rig.models.scene_lines import PlayLine


def shared_bends(rig: Rig) -> Iterator[RigFinding]:
    """All of a rig, which has passed the checks. Lines that play the same notes of the same inputs agree."""
    lowering, places = Lowering(rig), LinePlaces(rig)
    for scene in rig.scenes:
        lowered = lowering.lowered(scene)
        for name, routes in _from_zones(rig, lowered).items():
            alike = {(line.source, line.notes, line.velocity) for line in _lines(lowered, routes)}
            if len(alike) > 1:
                labels = " and ".join(route.label for route in routes)
                text = f"{labels} lead MPE zones to the one channel of {name}, and each bends all of its notes"
                remedy = "give each line an instrument of its own"
                yield RigFinding(places.of(scene, routes[-1]), scene, f"{text}; {remedy}")


def _lines(lowered: LoweredScene, routes: list[LoweredRoute]) -> Iterator[PlayLine]:
    return (lowered.whole.play[route.place] for route in routes)


def _from_zones(rig: Rig, lowered: LoweredScene) -> dict[str, list[LoweredRoute]]:
    """The lines from inputs with a zone, by the instrument without one that they play."""
    found: dict[str, list[LoweredRoute]] = {}
    for route in lowered.routes:
        name = lowered.whole.play[route.place].on if route.kind == "play" else None
        if name is None or rig.instruments[name].mpe is not None:
            continue
        if any(source in rig.inputs and rig.inputs[source].mpe for source in route.source):
            found.setdefault(name, []).append(route)
    return found
