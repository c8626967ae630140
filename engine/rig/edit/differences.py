"""The differences between two scenes, two rigs or two texts, in a musician's words."""

from collections.abc import Mapping, Sequence
from difflib import unified_diff
from functools import partial
from typing import Any

from engine.midi.message_words import MiddleC, note_name
from engine.rig.edit.filter_words import bank_in_words, link_in_words
from engine.rig.gear_words import gear_at, sound_of
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import BurstStep, Rig, Route, Scene
from engine.rig.models.scene_lines import PlayLine, Sending

_SECTIONS = {"inputs": "input", "outputs": "output", "instruments": "instrument"}
_SWITCHES = {"pedal": "pedals", "programs": "programs"}
_SETTINGS = ("name", "cue", "like", "text", "tempo", "transpose", "at", "held")
_TIMES = ("guard", "hold", "between", "settle")  # ns in the models


def scenes(rig: Rig, number_a: int, number_b: int) -> list[str]:
    """The differences between two scenes of a rig with all that they inherit, as sentences; empty if only the numbers
    differ.

    Raises KeyError for an unknown number.
    """
    wholes = WholeScenes(rig)
    a, b = (wholes.whole(_found(rig, number)) for number in (number_a, number_b))
    sentences = [
        f"{word}: {_plain(one)} in {number_a}, {_plain(other)} in {number_b}" for word, one, other in _settings(a, b)
    ]
    for word, before, after in _lists(rig, a, b):
        sentences += [f"only in {number_a}: {word} {each}" for each in _others(before, after)]
        sentences += [f"only in {number_b}: {word} {each}" for each in _others(after, before)]
        sentences += _reordered(word, before, after)
    return sentences


def rigs(a: Rig, b: Rig) -> list[str]:
    """Sentences; empty if the rigs are equal."""
    sentences = _fields("the rig's", a.rig, b.rig)
    for section, word in _SECTIONS.items():
        sentences += _named(word, getattr(a, section), getattr(b, section))
    route = partial(_route, middle_c=b.rig.middle_c)
    sentences += _listed("route for every scene", list(map(route, a.routes)), list(map(route, b.routes)))
    before, after = ({scene.number: scene for scene in rig.scenes} for rig in (a, b))
    names = {scene.name: scene for scene in b.scenes}
    for number, scene in [*before.items()]:
        now = names.get(scene.name)
        if number not in after and now is not None and now.number not in before:
            sentences.append(f"scene {number} {scene.name} is now scene {now.number}")
            before = {(now.number if key == number else key): value for key, value in before.items()}
    sentences += [f"scene {number} {scene.name} is gone" for number, scene in before.items() if number not in after]
    sentences += [f"scene {number} {scene.name} is new" for number, scene in after.items() if number not in before]
    for number in before:
        if number in after:
            sentences += [f"scene {number}: {each}" for each in _changed(b, before[number], after[number])]
    common = [[number for number in one if number in other] for one, other in ((before, after), (after, before))]
    sentences += ["the scenes are in a different order"] if common[0] != common[1] else []
    sentences += _listed("song", list(map(_plain, a.songs)), list(map(_plain, b.songs)))
    sentences += _listed("set list", list(map(_plain, a.setlists)), list(map(_plain, b.setlists)))
    sentences += _listed("player", list(map(_plain, a.players)), list(map(_plain, b.players)))
    sentences += _listed("control", list(map(_plain, a.controls)), list(map(_plain, b.controls)))
    rest = set(type(a).model_fields) - {
        *_SECTIONS,
        "rig",
        "routes",
        "scenes",
        "songs",
        "setlists",
        "players",
        "controls",
    }
    for key in sorted(rest):
        one, other = getattr(a, key), getattr(b, key)
        sentences += [f"{key} was {_plain(one)}, is {_plain(other)}"] if one != other else []
    return sentences or (["the rigs differ only in how they are written"] if a != b else [])


def text(old: str, new: str, from_name: str, to_name: str) -> str:
    """A unified diff; "" if the texts are equal."""
    lines = unified_diff(old.splitlines(), new.splitlines(), from_name, to_name, lineterm="")
    return "\n".join(lines)


def _found(rig: Rig, number: int) -> Scene:
    for scene in rig.scenes:
        if scene.number == number:
            return scene
    raise KeyError(number)


def _settings(a: Scene, b: Scene) -> list[tuple[str, Any, Any]]:
    """The settings that two scenes have differently, without their lists."""
    pairs = ((key, getattr(a, key), getattr(b, key)) for key in _SETTINGS)
    return [(word, one, other) for word, one, other in pairs if one != other]


def _lists(rig: Rig, a: Scene, b: Scene) -> list[tuple[str, list[str], list[str]]]:
    line, route = (partial(words, middle_c=rig.rig.middle_c) for words in (_line, _route))
    return [
        ("line", list(map(line, a.play)), list(map(line, b.play))),
        ("route", list(map(route, a.routes)), list(map(route, b.routes))),
        ("burst step", _steps(rig, a), _steps(rig, b)),
        ("message on entering", list(map(_sending, a.enter)), list(map(_sending, b.enter))),
        ("message on leaving", list(map(_sending, a.leave)), list(map(_sending, b.leave))),
    ]


def _changed(rig: Rig, a: Scene, b: Scene) -> list[str]:
    """`rig` is the later one; its sounds name the steps of both, so that renaming a sound changes no step."""
    sentences = [f"{word} was {_plain(one)}, is {_plain(other)}" for word, one, other in _settings(a, b)]
    for word, before, after in _lists(rig, a, b):
        sentences += _listed(word, before, after)
    return sentences


def _listed(word: str, before: Sequence[str], after: Sequence[str]) -> list[str]:
    sentences = [f"{word} removed: {each}" for each in _others(before, after)]
    sentences += [f"{word} added: {each}" for each in _others(after, before)]
    return sentences + _reordered(word, before, after)


def _others(of: Sequence[str], than: Sequence[str]) -> list[str]:
    """Those that the other list does not have; both are gone through once, for a scene may have thousands of routes."""
    known = frozenset(than)
    return [each for each in of if each not in known]


def _reordered(word: str, before: Sequence[str], after: Sequence[str]) -> list[str]:
    same = set(before) == set(after) and before != after
    return [f"the {word}s differ in order or number"] if same else []


def _named(word: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    sentences = [f"{word} {name} is gone" for name in before if name not in after]
    sentences += [f"{word} {name} is new" for name in after if name not in before]
    for name in before:
        if name in after:
            sentences += _fields(f"{word} {name}:", before[name], after[name])
    return sentences


def _fields(whose: str, a: Any, b: Any) -> list[str]:
    pairs = ((key, getattr(a, key), getattr(b, key)) for key in type(a).model_fields)
    return [f"{whose} {key} was {_said(key, one)}, is {_said(key, other)}" for key, one, other in pairs if one != other]


def _route(route: Route, middle_c: MiddleC) -> str:
    name = f'"{route.name}" ' if route.name else ""
    through = ", ".join(link_in_words(each, middle_c) for each in route.through)
    return (
        f"{name}{' and '.join(route.source)} to {' and '.join(route.to)}"
        + (f" through {through}" if through else "")
        + (f", group {route.group}" if route.group else "")
    )


def _line(line: PlayLine, middle_c: MiddleC) -> str:
    name = f'"{line.name}" ' if line.name else ""
    if line.off:
        return f"{name}taken away"
    given = line.model_dump(by_alias=True, exclude_unset=True, exclude={"name", "source", "on", "through"})
    said = [_key_of_line(key, value, middle_c) for key, value in given.items()]
    said += [link_in_words(each, middle_c) for each in line.through]
    return f"{name}{' and '.join(line.source)} on {line.on}" + "".join(f", {each}" for each in said)


def _key_of_line(key: str, value: Any, middle_c: MiddleC) -> str:
    if key == "notes":
        return f"notes {note_name(value[0], middle_c)} to {note_name(value[1], middle_c)}"
    if key in _SWITCHES:
        return f"{'with' if value else 'without'} {_SWITCHES[key]}"
    return f"velocity {value[0]} to {value[1]}" if key == "velocity" else f"{key} {_plain(value)}"


def _sending(sending: Sending) -> str:
    return f"{', '.join(sending.send)} to {sending.on or sending.to}"


def step_in_words(rig: Rig, step: BurstStep) -> tuple[str, str]:
    """The receiver of a burst step, and the sound or program that it selects."""
    who = step.instrument or f"{step.output} channel {step.channel}"
    if step.sound is not None:
        return who, step.sound
    bank = f", bank {bank_in_words(step.bank)}" if step.bank else ""
    known = _known(rig, step)
    return who, f"program {step.program}{bank}" + (f" ({known})" if known else "")


def _known(rig: Rig, step: BurstStep) -> str | None:
    """The name of the sound that a step selects by number; for an output and channel, of the instrument there."""
    if step.program is None:
        return None
    if step.instrument is None:
        gear = gear_at(rig, step.output or "", step.channel or 0)
        return sound_of(gear, step.bank, step.program - 1) if gear is not None else None
    gear = rig.instruments.get(step.instrument)
    return sound_of(gear, step.bank, step.program - gear.programs_from) if gear is not None else None


def _steps(rig: Rig, scene: Scene) -> list[str]:
    return [_step(rig, step) for step in scene.burst]


def _step(rig: Rig, step: BurstStep) -> str:
    who, what = step_in_words(rig, step)
    if step.blank:
        return f"{who}: blank"
    return f'{who}: sound "{step.sound}"' if step.sound is not None else f"{who}: {what}"


def _said(key: str, found: Any) -> str:
    """The value of a key, in words."""
    if key == "when":
        return _when(found)
    return f"{found / 1_000_000:g} ms" if key in _TIMES else _plain(found)


def _plain(found: Any) -> str:
    """A value on one line, as people would write it."""
    if found is None:
        return "none"
    if hasattr(found, "model_dump"):
        kept = found.model_dump(by_alias=True, exclude_unset=True)
        return " ".join(f"{key} {_said(key, value)}" for key, value in kept.items() if value is not None)
    if isinstance(found, bytes):
        return found.hex(" ").upper()
    if isinstance(found, dict):
        return ", ".join(f"{key} {_plain(value)}" for key, value in found.items())
    if isinstance(found, list | tuple):
        return ", ".join(map(_plain, found))
    return str(found)


def _when(condition: Mapping[str, Any]) -> str:
    """The condition of a control; a number is the first and last of a range."""
    return ", ".join(f"{key} {_range(value)}" for key, value in condition.items() if value is not None)


def _range(found: Any) -> str:
    if isinstance(found, list | tuple) and len(found) == 2:
        return str(found[0]) if found[0] == found[1] else f"{found[0]} to {found[1]}"
    return _plain(found)
