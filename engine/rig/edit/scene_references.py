"""Who calls a scene: set lists, controls and the start; as words behind the sentence that it was changed."""

from engine.rig.models.rig import Rig, Scene


def following(rig: Rig, number: int, *, by_name: bool) -> str:
    """Who calls the scene by what is changed, its name or its number, and calls it by the new one then."""
    scene = rig.scene(number)
    if scene is None:
        return ""
    who = _start(rig, scene, by_name) + _setlists(rig, scene, by_name) + _controls(rig, scene, by_name)
    told = f", and so in {_joined(who)}" if who else ""
    return told if by_name else told + _any_program(rig)


def left(rig: Rig, number: int) -> str:
    """Which set lists the scene has been taken out of."""
    scene = rig.scene(number)
    if scene is None:
        return ""
    lists = _setlists(rig, scene, True) + _setlists(rig, scene, False)
    return f" and taken out of {_joined([*dict.fromkeys(lists)])}" if lists else ""


def _called(scene: Scene, by_name: bool) -> int | str:
    return scene.name if by_name else scene.number


def _start(rig: Rig, scene: Scene, by_name: bool) -> list[str]:
    start = rig.rig.start
    return ["start"] if start != "last" and start == _called(scene, by_name) else []


def _setlists(rig: Rig, scene: Scene, by_name: bool) -> list[str]:
    return [f"set list {one.name}" for one in rig.setlists if _called(scene, by_name) in one.scenes]


def _controls(rig: Rig, scene: Scene, by_name: bool) -> list[str]:
    called = _called(scene, by_name)
    return [
        f"control {place}"
        for place, control in enumerate(rig.controls, 1)
        if called == control.scene or called in control.scenes
    ]


def _any_program(rig: Rig) -> str:
    """A control that names no scene goes by the number it is sent, which the player must know."""
    places = [
        f"control {place}" for place, one in enumerate(rig.controls, 1) if one.do == "scene" and one.scene is None
    ]
    return f"; {_joined(places)} must be sent the new number from now on" if places else ""


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
