"""Which parts of a rig refer to a scene, in words: set lists, controls and the start."""

from engine.rig.models.references import Keys, references
from engine.rig.models.rig import Rig


def following(rig: Rig, number: int, *, by_name: bool) -> str:
    """Which parts refer to the scene by what an edit changes, its name or its number, and now refer to the new one."""
    scene = rig.scene(number)
    if scene is None:
        return ""
    users = _users(rig, scene.name if by_name else scene.number)
    text = f", also in {_joined(users)}" if users else ""
    return text if by_name else text + _any_program(rig)


def left(rig: Rig, number: int) -> str:
    """Which set lists the scene has been removed from."""
    scene = rig.scene(number)
    lists = _users(rig, scene.name, scene.number, section="setlists") if scene is not None else []
    return f" and removed from {_joined(lists)}" if lists else ""


def _users(rig: Rig, *called: int | str, section: str | None = None) -> list[str]:
    """The parts that name the scene so, each once; all of them or those of one section."""
    found = (keys for keys, mark, name in references(rig, Rig) if mark.section == "scenes" and name in called)
    return list(dict.fromkeys(_user(rig, keys) for keys in found if section in (None, keys[0])))


def _user(rig: Rig, keys: Keys) -> str:
    section, place = keys[0], keys[1]
    if isinstance(place, str):
        return place  # rig.start
    return f"set list {rig.setlists[place].name}" if section == "setlists" else f"control {place + 1}"


def _any_program(rig: Rig) -> str:
    """A control without a scene of its own uses the number that it receives, which the player must know."""
    places = [
        f"control {place}" for place, one in enumerate(rig.controls, 1) if one.do == "scene" and one.scene is None
    ]
    return f"; send the new number to {_joined(places)} from now on" if places else ""


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
