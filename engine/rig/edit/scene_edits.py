"""Edits of a rig file: from one text to another, keeping the author's comments and layout.

Each function reads the text, changes what it must, and reads the result again, so the result is a rig that loads. All
raise EditError, and then nothing has changed. A BOM and either kind of line end are kept. `folder` is where the files
are that the rig includes; they are never edited.
"""

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from engine.rig.edit.scene_difference import PLAYED, as_difference
from engine.rig.edit.scene_places import (
    ScenePlaces,
    UnknownScene,
    in_element,
    in_scene,
    scene_index,
    scene_references,
    with_references,
)
from engine.rig.edit.toml_edits import EditError, Sheet, changes, insert_lines, listed, table, toml
from engine.rig.edit.toml_list_edits import block_changed, list_changed, table_changed
from engine.rig.edit.whole_edits import edited
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import rig_model
from engine.rig.read.load import naming, read
from engine.rig.read.toml_layout import Path as Place

__all__ = [
    "FACTS",
    "EditError",
    "UnknownScene",
    "add_control",
    "add_scene",
    "copy_scene",
    "delete_scene",
    "move_scene",
    "put_scene",
    "put_setlist",
    "rename_scene",
    "renumber_scene",
    "set_burst",
    "set_facts",
    "set_lines",
    "set_lists",
    "set_routes",
]

Table = dict[str, Any]
_HERE: Path = Path()
_LISTS = ("play", "routes", "burst")
#: keys of a scene that have one value each
FACTS = ("cue", "text", "tempo", "transpose", "like", "at", "held")


def copy_scene(text: str, number: int, new: int, name: str | None = None, *, folder: Path = _HERE) -> str:
    """A copy of a scene, directly after the original; named "NAME copy" unless a name is given.

    It has no `at` and no `cue`: they are those of one scene only.
    """
    return edited(text, folder, lambda plain: _copied(plain, number, new, name))


def rename_scene(text: str, number: int, name: str, *, folder: Path = _HERE) -> str:
    """Rename a scene, also where set lists, controls and `start` refer to it by name."""
    return edited(text, folder, lambda plain: _renamed(plain, number, name))


def renumber_scene(text: str, number: int, new: int, *, folder: Path = _HERE) -> str:
    """Renumber a scene, also where set lists, controls and `start` refer to it by number.

    A foot switch with `program = "any"` uses the numbers: it then recalls the scene by another program.
    """
    return edited(text, folder, lambda plain: _renumbered(plain, number, new))


def move_scene(text: str, number: int, before: int | None, *, folder: Path = _HERE) -> str:
    """Move a scene before another one in the file, or to the end (None), with the comments directly above it."""
    return edited(text, folder, lambda plain: _moved(plain, number, before))


def delete_scene(text: str, number: int, *, folder: Path = _HERE) -> str:
    """Delete a scene from the file and from the set lists. Rejected if a control or `start` refers to it, or if it is
    the only scene of the rig or of a set list."""
    return edited(text, folder, lambda plain: _deleted(plain, number))


def add_scene(
    text: str, number: int, name: str, like: int | None, play: Sequence[Table], *, folder: Path = _HERE
) -> str:
    """Add a scene after the others: like another one, or with these play lines."""

    def changed(plain: str) -> str:
        sheet = Sheet(plain)
        _free(sheet.data, "number", number)
        _free(sheet.data, "name", name)
        return _made(plain, number, name, {"like": like, "play": list(play)})

    return edited(text, folder, changed)


def put_scene(text: str, number: int, name: str, played: Table, *, folder: Path = _HERE) -> str:
    """Give a scene this name, and let it play this; if there is no such scene, add it after the others.

    `played`: by the keys of PLAYED, in the values of the file; what is not there, the scene has not. Parts that stay
    are left as they are written; other keys of the scene are kept. A scene that is like another one stays so, and says
    the difference, if it can be said; otherwise it says everything itself from now on.
    """
    return edited(text, folder, lambda plain: _stored(plain, folder, number, name, played))


def set_routes(text: str, number: int, routes: Sequence[Table], *, folder: Path = _HERE) -> str:
    """Give a scene these routes (tables in the keys of the file); the rest of it is kept."""
    return edited(text, folder, lambda plain: _listed(plain, number, "routes", routes))


def set_lists(text: str, number: int, lists: Mapping[str, Sequence[Table]], *, folder: Path = _HERE) -> str:
    """Give a scene these lists, by their keys ("play", "routes", "burst"); the rest of it is kept."""

    def changed(plain: str) -> str:
        for key, tables in lists.items():
            plain = _listed(plain, number, key, tables)
        return plain

    return edited(text, folder, changed)


def set_lines(text: str, number: int, play: Sequence[Table], *, folder: Path = _HERE) -> str:
    """Give a scene these play lines (tables in the keys of the file); the rest of it is kept."""
    return edited(text, folder, lambda plain: _listed(plain, number, "play", play))


def set_burst(text: str, number: int, burst: Sequence[Table], *, folder: Path = _HERE) -> str:
    """Give a scene this burst (tables in the keys of the file); the rest of it is kept."""
    return edited(text, folder, lambda plain: _listed(plain, number, "burst", burst))


def set_facts(text: str, number: int, facts: Table, *, folder: Path = _HERE) -> str:
    """Give a scene these values, by FACTS; None takes a key away. The rest of it is kept."""

    def changed(plain: str) -> str:
        for key, value in facts.items():
            plain = in_scene(plain, number, partial(_valued, key=key, value=value))
        return plain

    return edited(text, folder, changed)


def add_control(text: str, control: Table, *, folder: Path = _HERE) -> str:
    """Add a control after the others."""
    return edited(text, folder, lambda plain: _appended(plain, "controls", control))


def put_setlist(text: str, name: str, scenes: Sequence[int | str], *, folder: Path = _HERE) -> str:
    """Give a set list these scenes in this order; if there is no set list of this name, add it after the others."""
    return edited(text, folder, lambda plain: _ordered(plain, name, scenes))


# Scenes


def _copied(text: str, number: int, new: int, name: str | None) -> str:
    sheet = Sheet(text)
    place, scenes = scene_index(sheet, number), ScenePlaces(text)
    _free(sheet.data, "number", new)
    names = {one["name"] for one in sheet.data["scenes"]}
    values = {"number": new, "name": name or _copy_name(sheet.data["scenes"][place]["name"], names)}
    copy = scenes.part(place)
    for key, value in {**values, "at": None, "cue": None}.items():
        copy = scenes.changed(copy, partial(_valued, key=key, value=value))
    return scenes.with_behind(place, copy)


def _copy_name(name: str, taken: set[str]) -> str:
    copy, count = f"{name} copy", 1
    while copy in taken:
        count += 1
        copy = f"{name} copy {count}"
    return copy


def _free(data: Table, key: str, value: int | str, but: int | None = None) -> None:
    """Reject a number or name that a scene other than number `but` has."""
    for scene in data["scenes"]:
        if scene[key] == value and scene["number"] != but:
            raise EditError(
                f"scene {scene['number']} {scene['name']} already has the {key} {toml(value)}; choose another"
            )


def _renamed(text: str, number: int, name: str) -> str:
    sheet = Sheet(text)
    place = scene_index(sheet, number)
    _free(sheet.data, "name", name, number)
    old = sheet.data["scenes"][place]["name"]
    text = sheet.with_value(("scenes", place, "name"), toml(name))
    if name == "last" and sheet.data.get("rig", {}).get("start") == old:  # which there means the one that played last
        text = Sheet(text).with_value(("rig", "start"), toml(number))
    return with_references(text, old, name)


def _renumbered(text: str, number: int, new: int) -> str:
    sheet = Sheet(text)
    place = scene_index(sheet, number)
    _free(sheet.data, "number", new, number)
    return with_references(sheet.with_value(("scenes", place, "number"), toml(new)), number, new)


def _moved(text: str, number: int, before: int | None) -> str:
    sheet, scenes = Sheet(text), ScenePlaces(text)
    place = scene_index(sheet, number)
    if before == number:
        raise EditError(f"scene {number} cannot be moved before itself; name another scene")
    target = len(scenes.blocks) if before is None else scene_index(sheet, before)
    return text if target in (place, place + 1) else scenes.moved(place, target)


def _deleted(text: str, number: int) -> str:
    sheet = Sheet(text)
    place = scene_index(sheet, number)
    scene = sheet.data["scenes"][place]
    if len(sheet.data["scenes"]) == 1:
        raise EditError(f"scene {number} is the only one, and a rig needs at least one; add another scene first")
    names = (scene["number"], scene["name"])
    named = [path for path, called in scene_references(sheet.data) if called in names]
    for path in named:
        if path[0] not in ("setlists", "songs"):
            who = "start" if path[0] == "rig" else f"control {int(path[1]) + 1}"
            who = f"scene {sheet.data['scenes'][path[1]]['number']}, which is like it," if path[0] == "scenes" else who
            raise EditError(f"scene {number} is used by {who} in line {sheet.line(path)}; change that line first")
    for section, what in (("setlists", "set list"), ("songs", "song")):
        for index, order in enumerate(sheet.data.get(section, ())):
            if "scenes" in order and all(called in names for called in order["scenes"]):
                line = sheet.line((section, index, "scenes"))
                raise EditError(
                    f"scene {number} is the only one in the {what} {toml(order['name'])} (line {line}); "
                    f"first add another scene to it, or delete the {what} from the file"
                )
    text = ScenePlaces(text).without(place)
    for path in reversed(named):
        text = Sheet(text).without_element(path[:-1], int(path[-1]))
    return text


def _stored(text: str, folder: Path, number: int, name: str, played: Table) -> str:
    sheet = Sheet(text)
    if all(scene["number"] != number for scene in sheet.data["scenes"]):
        _free(sheet.data, "name", name)
        return _made(text, number, name, played)
    text = _renamed(text, number, name)
    said = _played_by(text, folder, number, name, played)
    for key in _LISTS:
        text = _listed(text, number, key, said[key] or ())
    for key in said.keys() - {*_LISTS}:
        text = in_scene(text, number, partial(_valued, key=key, value=said[key]))
    return text


def _played_by(text: str, folder: Path, number: int, name: str, played: Table) -> Table:
    """What a scene has to say to play this; None for a key that it may no longer have."""
    rig = read(text, "rig", lists=False, folder=folder)
    scene = next(each for each in rig.scenes if each.number == number)
    nothing: Table = dict.fromkeys(PLAYED)
    everything = {**nothing, **played}
    if scene.like is None:
        return everything
    alone = {"format": 2, "scenes": [{"number": number, "name": name, **played}]}
    try:
        wanted = rig_model().model_validate(alone, context=naming(Sheet(text).data)).scenes[0]
    except ValidationError:
        return everything  # the edited rig will be rejected with the reason
    difference = as_difference(rig, scene, wanted)
    if difference is not None:
        return {**nothing, **difference}
    whole = WholeScenes(rig).whole(scene).model_dump(mode="json", by_alias=True, exclude_unset=True)
    kept: Table = {key: whole[key] for key in ("tempo", "held", "enter", "leave") if key in whole}
    return {**everything, **kept, "like": None}


def _valued(text: str, scene: Place, key: str, value: Any) -> str:
    """The text with this value of a scene, or without it (None)."""
    sheet, place = Sheet(text), (*scene, key)
    if value is None:
        return sheet.without_pair(place) if sheet.has_key(place) else text
    return sheet.with_value(place, toml(value)) if sheet.has_key(place) else sheet.with_pair(scene, key, toml(value))


def _made(text: str, number: int, name: str, played: Table) -> str:
    scenes = ScenePlaces(text)
    keys = {"number": number, "name": name, **{key: value or None for key, value in played.items()}}
    return scenes.with_behind(len(scenes.blocks) - 1, scenes.written(keys, _LISTS))


# Lists of routes, steps and scenes


def _listed(text: str, number: int, key: str, tables: Sequence[Table]) -> str:
    """The text with these lines, routes or burst steps in a scene; those that stay are left as they are written."""
    names = naming(Sheet(text).data)
    return in_scene(text, number, lambda part, scene: _filled(part, scene, key, tables, names))


def _filled(text: str, scene: Place, key: str, tables: Sequence[Table], names: Table) -> str:
    """`names`: what the names of notes depend on."""
    sheet, section = Sheet(text), (*scene, key)
    written = sheet.data["scenes"][scene[1]].get(key)
    if written is None:
        lines = in_element(tables) if sheet.has_value(scene) else listed([toml(one) for one in tables])
        return sheet.with_pair(scene, key, lines) if tables else text
    olds, news = _meant(names, key, written), _meant(names, key, tables)
    for what, old, new in changes(olds, news):
        if what == "put":
            text = table_changed(text, (*section, old), (olds[old], news[new]), tables[new])
        elif sheet.has_value(section):
            text = list_changed(text, section, [(what, old, new)], list(map(toml, tables)), lines=True)
        else:
            text = block_changed(text, section, what, old, {} if what == "drop" else tables[new])
    return text


def _meant(names: Table, key: str, tables: Sequence[Table]) -> list[Any]:
    """The meaning of tables, however they are written: a name equals a list with one name, for example."""
    try:
        made = rig_model().model_validate(_alone(key, tables), context=names)
        return list(getattr(made.scenes[0], key))
    except ValidationError:
        return list(tables)  # the edited rig will be rejected with the reason


def _alone(key: str, tables: Sequence[Table]) -> Table:
    return {"format": 2, "scenes": [{"number": 1, "name": "alone", key: list(tables)}]}


def _appended(text: str, section: str, keys: Table) -> str:
    sheet = Sheet(text)
    if sheet.has_value((section,)):
        return sheet.with_element((section,), len(sheet.data[section]), toml(keys), lines=True)
    blocks = sheet.blocks((section,))
    return insert_lines(text, blocks[-1].end if blocks else len(text), "\n" + table(f"[[{section}]]", keys))


def _ordered(text: str, name: str, scenes: Sequence[int | str]) -> str:
    sheet = Sheet(text)
    for index, setlist in enumerate(sheet.data.get("setlists", ())):
        if setlist["name"] == name:
            if "songs" in setlist:
                raise EditError(f"the set list {toml(name)} is one of songs; change its songs in the file")
            steps = changes(setlist["scenes"], scenes)
            return list_changed(text, ("setlists", index, "scenes"), steps, list(map(toml, scenes)), lines=False)
    return _appended(text, "setlists", {"name": name, "scenes": list(scenes)})
