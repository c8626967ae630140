"""Which parts of a rig refer to a scene, in words: set lists, songs, controls and the start."""

from collections.abc import Container, Iterator
from typing import Final

from engine.plurals import plural
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.marks import Keys
from engine.rig.models.references import references
from engine.rig.models.rig import Rig

_SHOWN: Final = 10  # scenes in a sentence


def following_name(rig: Rig, number: int) -> str:
    """Which parts refer to the scene by name, and use its new name after it has been renamed."""
    scene = rig.scene(number)
    return _also_in(_users(rig, scene.name)) if scene is not None else ""


def following_number(rig: Rig, number: int, new: int) -> str:
    """Which parts refer to the scene by number, and use its new number; then, which controls recall it, and how."""
    return _also_in(_users(rig, number)) + "".join(f"; {words}" for words in _recalls(rig, new))


def left(rig: Rig, number: int) -> str:
    """Which set lists and songs the scene has been removed from."""
    scene = rig.scene(number)
    lists = _users(rig, scene.name, scene.number, sections=("setlists", "songs")) if scene is not None else []
    return f" and removed from {_joined(lists)}" if lists else ""


def followers(rig: Rig, number: int) -> str:
    """The end of a sentence: which scenes are like this one, themselves or through others, and follow its edits."""
    wholes = WholeScenes(rig)
    found: dict[int, None] = {number: None}
    left = [number]
    like: dict[int, list[int]] = {}
    for scene in rig.scenes:
        if (base := wholes.base(scene)) is not None:
            like.setdefault(base.number, []).append(scene.number)
    while left:
        left += (new := [each for each in like.get(left.pop(), ()) if each not in found])
        found.update(dict.fromkeys(new))
    following = [scene.number for scene in rig.scenes if scene.number in found and scene.number != number]
    if not following:
        return ""
    listed = _joined([*map(str, following[:_SHOWN])] + ["others"] * (len(following) > _SHOWN))
    words = "is like it and changes" if len(following) == 1 else "are like it and change"
    return f"; {plural(len(following), 'scene')} {listed} {words} with it"


def _users(rig: Rig, *called: int | str, sections: Container[str] | None = None) -> list[str]:
    """The parts that name the scene so, each once; all of them or those of these sections."""
    found = (keys for keys, mark, name in references(rig, Rig) if mark.section == "scenes" and name in called)
    return list(dict.fromkeys(_user(rig, keys) for keys in found if sections is None or keys[0] in sections))


def _user(rig: Rig, keys: Keys) -> str:
    section, place = keys[0], keys[1]
    if isinstance(place, str):
        return place  # rig.start
    if section == "scenes":
        return f"scene {rig.scenes[place].number}"
    if section == "songs":
        return f"song {rig.songs[place].name}"
    return f"set list {rig.setlists[place].name}" if section == "setlists" else f"control {place + 1}"


def _also_in(users: list[str]) -> str:
    return f", also in {_joined(users)}" if users else ""


def _recalls(rig: Rig, number: int) -> Iterator[str]:
    """A control without a scene of its own recalls the scene whose number it receives."""
    for place, one in enumerate(rig.controls, 1):
        if "scene" in one.words and one.scene is None:
            kind, numbers = ("program", one.when.program) if one.when.program is not None else ("song", one.when.song)
            first, last = (1, 128) if numbers == "any" or numbers is None else numbers
            how = f"now recalls it with {kind} {number}" if first <= number <= last else "cannot recall it"
            yield f"control {place} ({one.input}) {how}"


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
