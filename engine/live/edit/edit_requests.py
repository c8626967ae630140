"""Requests to edit and save the rig that plays, as the socket brings them."""

from functools import partial
from typing import Any, Final

from engine.core import scene_snapshot
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_session import Answer, Change, RigSession
from engine.live.show import Show
from engine.plurals import counted
from engine.rig.edit import scene_edits, scene_references

_UNKNOWN = {"done": False, "text": "scenes takes list, copy, rename, renumber, move, delete, store, undo or redo"}


#: requests that are answered here
EDITS: Final = ("save", "scenes", "learn", "backup", "restore")


async def obey(show: Show, workshop: RigSession, errands: RemoteWork, request: dict[str, Any]) -> Answer:
    """{"do": one of EDITS, …}."""
    what = request.get("what")
    if request["do"] == "backup":
        return _backup(show, workshop, errands, request.get("output"))
    if request["do"] == "restore":
        return await errands.restore(str(request.get("text")), str(request.get("where")))
    if request["do"] == "learn":
        return await _learn(workshop, request.get("control"))
    if request["do"] == "save":
        return await _save(workshop, what, request.get("choice"), request.get("version"))
    if what == "list":
        return _listed(show)
    if what == "undo":
        return await workshop.take_back()
    if what == "redo":
        return await workshop.redo()
    return await workshop.edit(partial(_change, show, request))


def _backup(show: Show, workshop: RigSession, errands: RemoteWork, output: object) -> Answer:
    """To an output by name; without one the text itself is the answer."""
    if output is None:
        return {"done": True, "text": "", "rig": workshop.text, "device": show.engine.state.compiled.remote.device}
    if not isinstance(output, str) or output not in show.engine.rig.outputs:
        return {"done": False, "text": f"there is no output {output}; there are {', '.join(show.engine.rig.outputs)}"}
    count = errands.send_backup((show.outputs.index(output),))
    return {"done": True, "text": f"the rig goes out to {output} in {count} blocks"}


async def _learn(workshop: RigSession, control: object) -> Answer:
    """It plays, and is saved, unless other live edits are not: these are not saved behind the player's back."""
    if not isinstance(control, dict):
        return {"done": False, "text": "learn needs a control"}
    return await workshop.edit(
        lambda: (partial(scene_edits.add_control, control=control), "the control works"), save=True
    )


async def _save(workshop: RigSession, what: object, choice: object, version: object) -> Answer:
    if version is not None and type(version) is not int:
        return {"done": False, "text": "a version's number is a whole number"}
    if what == "undo":
        return await workshop.undo_save(version)
    if what == "history":
        return await workshop.history()
    if what == "diff":
        return await workshop.unsaved_difference(version)
    return await workshop.save(choice if choice in ("playing", "file") else None)


def _listed(show: Show) -> Answer:
    now = show.engine.scene[0] if show.engine.scene else None
    listed = [
        {"number": scene.number, "name": scene.name, "at": scene.at, "now": scene.number == now}
        for scene in show.engine.rig.scenes
    ]
    return {"done": True, "text": f"{len(listed)} scenes", "scenes": listed}


def _change(show: Show, request: dict[str, Any]) -> tuple[Change, str] | Answer:
    """What a request does to the text, and the sentence for it."""
    what, number, new, name = (request.get(key) for key in ("what", "number", "new", "name"))
    if type(number) is not int or (new is not None and type(new) is not int):
        return {"done": False, "text": "a scene's number is a whole number"}
    if name is not None and not isinstance(name, str):
        return {"done": False, "text": "a scene's name is a text"}
    if what == "copy" and new is not None:
        return partial(scene_edits.copy_scene, number=number, new=new, name=name), f"scene {number} copied to {new}"
    rig = show.engine.rig
    if what == "rename" and name is not None:
        done = f"scene {number} is now {name}{scene_references.following(rig, number, by_name=True)}"
        return partial(scene_edits.rename_scene, number=number, name=name), done
    if what == "renumber" and new is not None:
        done = f"scene {number} is now scene {new}{scene_references.following(rig, number, by_name=False)}"
        return partial(scene_edits.renumber_scene, number=number, new=new), done
    if what == "move":
        place = f"stands before {new}" if new is not None else "stands last"
        return partial(scene_edits.move_scene, number=number, before=new), f"scene {number} {place}"
    if what == "delete":
        done = f"scene {number} deleted{scene_references.left(rig, number)}"
        return partial(scene_edits.delete_scene, number=number), done
    if what == "store":
        return _store(show, number, name)
    return _UNKNOWN


def _store(show: Show, number: int, name: str | None) -> tuple[Change, str]:
    scene = show.engine.rig.scene(number)
    called = name or (scene.name if scene is not None else f"Scene {number}")
    routes, burst = scene_snapshot.routes(show.engine), scene_snapshot.burst(show.engine, scene)
    sounds = sum("program" in step or "sound" in step for step in burst)
    change = partial(scene_edits.put_scene, number=number, name=called, routes=routes, burst=burst)
    held = f"{counted(len(routes), 'route', zero='no')}, {counted(sounds, 'sound', zero='no')}"
    return change, f"what plays is stored as scene {number} {called}: {held}"
