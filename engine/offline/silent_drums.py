"""Lines that send a drum kit keys on which it has no drum: found in the filter `notes`, which renumbers them."""

from collections.abc import Iterator

from engine.midi.message_words import note_name
from engine.offline.rig_finding import LinePlaces, RigFinding
from engine.plurals import some
from engine.rig.gear_words import drum_of
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Instrument, Rig
from filters.notes import Settings


def silent_drums(rig: Rig) -> Iterator[RigFinding]:
    """All of a rig, which has passed the checks."""
    lowering, places = Lowering(rig), LinePlaces(rig)
    for scene in rig.scenes:
        lowered = lowering.lowered(scene)
        for route in lowered.routes:
            gear = rig.instruments[str(lowered.whole.play[route.place].on)] if route.kind == "play" else None
            if gear is None or not (gear.drums or gear.keys):
                continue
            targets = {key for each in route.through if isinstance(each, Settings) for key in each.map.values()}
            empty = [note_name(key, rig.rig.middle_c) for key in sorted(targets) if not _has_drum(gear, key)]
            if empty:
                name = lowered.whole.play[route.place].on
                text = f"{route.label} plays {some(empty)} of {name}, which has no drum there"
                yield RigFinding(places.of(scene, route), scene, f"{text}; its drums are {_kit(gear, rig)}")


def _has_drum(gear: Instrument, key: int) -> bool:
    return drum_of(gear, gear.channel, key) is not None


def _kit(gear: Instrument, rig: Rig) -> str:
    """The lowest and the highest drum."""
    keys = [key for key in range(128) if _has_drum(gear, key)]
    low, high = (
        f"{note_name(key, rig.rig.middle_c)} {drum_of(gear, gear.channel, key)}" for key in (keys[0], keys[-1])
    )
    return f"{low} to {high}"
