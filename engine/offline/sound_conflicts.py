"""Sounds of a rig that cannot all be meant so: two on one channel, names nobody uses, keyboards that change a layer's
sounds, and bursts that are not over when the next cue comes."""

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from engine.core.cable.program_burst import compile_recall, duration
from engine.core.cable.speed import pace
from engine.core.routing.compiled_scene import CompiledScene, SceneCompiler
from engine.core.routing.filter_chain import FilterFaults, run_chain
from engine.midi.kinds import PROGRAM
from engine.midi.timecode import RATES, cue_place
from engine.offline.rig_finding import LinePlaces, RigFinding
from engine.plurals import some
from engine.rig.lowering.lowered_scene import LoweredScene, Lowering
from engine.rig.lowering.whole_scenes import place_of
from engine.rig.models.rig import Rig, Scene
from filters.registry import registry

_LETTERS: Final = 5  # of a word; shorter ones differ by one letter on purpose
_WORDS: Final = re.compile(r"\w+")


def sound_conflicts(rig: Rig) -> Iterator[RigFinding]:
    """All of a rig, which has passed the checks."""
    places, lowering, compiler = LinePlaces(rig), Lowering(rig), SceneCompiler(rig, registry())
    for scene in rig.scenes:
        lowered = lowering.lowered(scene)
        yield from _two_sounds(rig, scene, lowered, places)
        yield from _changed_layers(rig, scene, _program_ends(rig, lowered, compiler.compile(scene)), places)
    yield from _sounds_of_players(rig, lowering, places)
    yield from _misspelt(rig)
    yield from _late_bursts(rig, places)


def _two_sounds(rig: Rig, scene: Scene, lowered: LoweredScene, places: LinePlaces) -> Iterator[RigFinding]:
    first: dict[object, tuple[str, str, str]] = {}
    for route in lowered.routes:
        if route.kind != "play":
            continue
        line = lowered.whole.play[route.place]
        if line.sound is None:
            continue
        here = (str(line.on), line.sound, route.label)
        on, sound, label = first.setdefault(place_of(rig, line), here)
        if (on, sound) != here[:2]:
            text = (
                f'{label} puts {on} on "{sound}" and {route.label} puts {line.on} on "{line.sound}", but both are one '
                "channel; the later one counts. Take one sound away, or use another channel"
            )
            yield RigFinding(places.of(scene, route), scene, text)


def _sounds_of_players(rig: Rig, lowering: Lowering, places: LinePlaces) -> Iterator[RigFinding]:
    """Two players with scenes of their own, whose lines put one channel on different sounds: once for each two."""
    whose = {source: player.name for player in rig.players for source in player.inputs}
    known: dict[object, dict[str, tuple[str, Scene]]] = {}
    told: set[tuple[object, frozenset[str]]] = set()
    for scene in rig.scenes if whose else ():
        lowered = lowering.lowered(scene)
        lines = [(route, lowered.whole.play[route.place]) for route in lowered.routes if route.kind == "play"]
        for route, line in lines:
            player, place, sound = whose.get(route.source[0], ""), place_of(rig, line), line.sound
            if sound is None:
                continue
            known.setdefault(place, {}).setdefault(player, (sound, scene))
            for other, (its, where) in known[place].items():
                both = (place, frozenset((player, other)))
                if other != player and its != sound and both not in told:
                    told.add(both)
                    text = (
                        f'{route.label} puts {line.on} on "{sound}", and scene {where.number} of '
                        f'{other or "no player"} puts that channel on "{its}": the last recall decides for both. '
                        "Use another channel"
                    )
                    yield RigFinding(places.of(scene, route), scene, text)


# Programs from a keyboard


def _changed_layers(
    rig: Rig, scene: Scene, ends: Mapping[str, Sequence[str]], places: LinePlaces
) -> Iterator[RigFinding]:
    """Program changes of one input that reach several instruments which the scene puts on a sound."""
    for source, reached in ends.items():
        own = [control for control in rig.controls if control.input == source and control.when.program is not None]
        if len(reached) > 1 and not own:
            text = (
                f"program changes from {source} reach {some(reached)}, and change the sounds of this layer; "
                'stop them: stop = ["program", "bank"] at the input, or play lines in place of routes'
            )
            yield RigFinding((*places.scene(scene), "routes"), scene, text)


def _program_ends(rig: Rig, lowered: LoweredScene, compiled: CompiledScene) -> dict[str, list[str]]:
    """By input, the instruments with a sound in this scene that one program change of it reaches, if several."""
    outputs, faults = tuple(rig.outputs), FilterFaults()
    burst = {step.instrument for step in lowered.burst}
    gear = {(each.output, each.channel - 1): name for name, each in rig.instruments.items() if name in burst}
    found = {}
    for source, paths in zip(rig.inputs, map(tuple.__add__, compiled.everywhere, compiled.own), strict=True):
        for channel in range(16):
            message = bytes((PROGRAM | channel, 5))
            reached = {
                gear[outputs[output], one[0] & 0x0F]: None
                for path in paths
                for one in run_chain(path.links, message, 0, faults)
                if isinstance(one, bytes) and one[0] & 0xF0 == PROGRAM
                for output in path.outputs
                if (outputs[output], one[0] & 0x0F) in gear
            }
            if len(reached) > 1:
                found[source] = [*reached]
    return found


# Names


def _misspelt(rig: Rig) -> Iterator[RigFinding]:
    """Sounds that no scene uses, with a name that is nearly that of another."""
    used: dict[str | None, set[str | None]] = {}
    for scene in rig.scenes:
        for step in scene.burst:
            used.setdefault(step.instrument, set()).add(step.sound)
        for line in scene.play:
            used.setdefault(line.on, set()).add(line.sound)
    for name, gear in rig.instruments.items():
        sounds = used.get(name, set())
        for sound in gear.sounds:
            near = next((each for each in sorted(filter(None, sounds)) if _alike(sound, each)), None)
            if sound not in sounds and near is not None and gear.sounds[sound] != gear.sounds[near]:
                text = f'no scene uses the sound "{sound}" of {name}, but "{near}"; is one of the two misspelt?'
                yield RigFinding(("instruments", name, "sounds", sound), None, text)


def _alike(one: str, other: str) -> bool:
    """Whether two names differ as misspelt ones do: in one word, by one letter more or two exchanged."""
    pairs = [*zip(_WORDS.findall(one.casefold()), _WORDS.findall(other.casefold()), strict=False)]
    if len(_WORDS.findall(one)) != len(_WORDS.findall(other)):
        return False
    differ = [pair for pair in pairs if pair[0] != pair[1]]
    return not differ or (len(differ) == 1 and _slip(*differ[0]))


def _slip(one: str, other: str) -> bool:
    short, long = sorted((one, other), key=len)
    if not (short + long).isalpha():
        return False
    if len(short) == len(long):
        places = [place for place, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
        return len(places) == 2 and places[1] == places[0] + 1 and Counter(one) == Counter(other)
    plural = long == f"{short}s"  # such as Tremolo String and Tremolo Strings
    return len(short) >= _LETTERS and not plural and any(long[:at] + long[at + 1 :] == short for at in range(len(long)))


# Cues


def _late_bursts(rig: Rig, places: LinePlaces) -> Iterator[RigFinding]:
    """Scenes whose instruments are not ready when the next cue in time code comes."""
    rate = RATES[rig.sync.timecode.rate if rig.sync.timecode is not None else "25"]
    cued = sorted(_cued(rig.scenes), key=lambda scene: cue_place(str(scene.at), rate))
    numbered = {name: index for index, name in enumerate(rig.outputs)}
    for scene, following in itertools.pairwise(cued):
        frames = cue_place(str(following.at), rate).after(cue_place(str(scene.at), rate))
        between = rate.nanoseconds(4 * frames)
        bursts = compile_recall(rig, Lowering(rig).lowered(scene), numbered)
        for name, index in numbered.items():
            needed = duration(bursts.get(index, ()), pace(rig.outputs[name], None))
            if needed > between:
                text = (
                    f"its burst on {name} takes {needed / 1e6:.0f} ms, but scene {following.number} follows after "
                    f"{between / 1e6:.0f} ms by time code; "
                    "put the sounds into an earlier scene, or the cues further apart"
                )
                yield RigFinding((*places.scene(scene), "at"), scene, text)


def _cued(scenes: Iterable[Scene]) -> list[Scene]:
    return [scene for scene in scenes if scene.at is not None]
