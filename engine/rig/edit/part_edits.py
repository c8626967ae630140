"""Edits of any part of a rig file by its path: a value put there or taken away, and the places of lists changed.

A path is as in the loaded file, list places from 0: ("instruments", "bass-box", "channel"), ("setlists", 0). Whatever
is not edited stays as it is written. All raise EditError.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from engine.rig.edit.toml_edits import Block, EditError, Sheet, changes, insert_lines, key_path, table, toml
from engine.rig.edit.toml_list_edits import list_changed
from engine.rig.edit.whole_edits import edited
from engine.rig.read.toml_layout import Path as Place

Table = dict[str, Any]
_HERE: Final = Path()
#: the sections of a rig file in the order in which they are written
_ORDER: Final = (
    *("include", "rig", "inputs", "outputs", "instruments", "chains", "routes", "scenes", "songs", "setlists"),
    *("players", "controls", "tallies", "displays", "sync", "remote", "osc", "network"),
)
#: tables that get a [section] of their own, with a line for each key
_SECTIONS: Final = ("instruments",)
_OWN_SECTION: Final = "sounds"


def put_values(text: str, values: Sequence[tuple[Place, Any]], *, folder: Path = _HERE) -> str:
    """Put each value in its place, one after the other; None takes away what is there. Missing tables are made."""

    def changed(plain: str) -> str:
        for path, value in values:
            plain = put(plain, path, value)
        return plain

    return edited(text, folder, changed)


def move_part(text: str, section: str, place: int, new: int, *, folder: Path = _HERE) -> str:
    """Move an element of a list to another place, with its comments."""
    return edited(text, folder, lambda plain: _moved(Sheet(plain), section, place, new))


def put(text: str, path: Place, value: Any) -> str:
    """The text with this value in this place, or without what is there (None)."""
    sheet = Sheet(text)
    there, found = _found(sheet.data, path)
    if value is None:
        return _without(sheet, path) if there else text
    if not there:
        return _added(sheet, path, value)
    return text if found == value and type(found) is type(value) else _changed(sheet, path, found, value)


def _found(data: Any, path: Place) -> tuple[bool, Any]:
    for key in path:
        if isinstance(data, dict) and key in data:
            data = data[key]
            continue
        if not isinstance(data, list) or not isinstance(key, int) or key >= len(data):
            return False, None
        data = data[key]
    return True, data


# What is there already


def _changed(sheet: Sheet, path: Place, found: Any, value: Any) -> str:
    if sheet.has_value(path):
        if isinstance(found, list) and isinstance(value, list):
            steps = changes(found, value)
            return list_changed(sheet.text, path, steps, list(map(toml, value)), lines=_has_tables(value))
        return sheet.with_value(path, toml(value))
    if not isinstance(found, dict) or not isinstance(value, dict):
        raise EditError(f"line {sheet.line((*path, 0) if isinstance(found, list) else path)}: edit this in the file")
    text = sheet.text
    for key in found.keys() - value.keys():
        text = put(text, (*path, key), None)
    for key, each in value.items():
        text = put(text, (*path, key), each)
    return text


def _has_tables(value: Sequence[Any]) -> bool:
    return any(isinstance(each, dict) for each in value)


def _without(sheet: Sheet, path: Place) -> str:
    parent, key = path[:-1], path[-1]
    if isinstance(key, int):
        if sheet.has_value(path):
            return sheet.without_element(parent, key)
        return sheet.without(sheet.blocks(parent)[key])
    if sheet.has_value(path):
        return sheet.without_pair(path)
    return _without_sections(sheet, path)


def _without_sections(sheet: Sheet, path: Place) -> str:
    """Without a table that is written as one or several [sections]."""
    block = sheet.block(path)
    if block is None:
        raise EditError(f"{'.'.join(map(str, path))} is written in a way that only its author can edit; edit the file")
    rest = Sheet(sheet.without(block))
    return _without_sections(rest, path) if _found(rest.data, path)[0] else rest.text


# What is not there yet


def _added(sheet: Sheet, path: Place, value: Any) -> str:
    parent, key = path[:-1], path[-1]
    if isinstance(key, int):
        return _appended(sheet, parent, value)
    if not parent:
        return _with_section(sheet, key, value)
    there, found = _found(sheet.data, parent)
    if not there:
        return _added(sheet, parent, {key: value})
    if not isinstance(found, dict):
        raise EditError(f"{'.'.join(map(str, parent))} has no keys")
    if isinstance(value, dict) and not sheet.has_value(parent) and (parent == _SECTIONS or key == _OWN_SECTION):
        return _with_block(sheet, path, value)
    if sheet.has_value(parent) or sheet.has_header(parent):
        return sheet.with_pair(parent, key, toml(value))
    return _with_block(sheet, path, value) if isinstance(value, dict) else _with_header(sheet, parent, {key: value})


def _appended(sheet: Sheet, section: Place, value: Any) -> str:
    """With another element at the end of a list."""
    there, found = _found(sheet.data, section)
    if there and sheet.has_value(section):
        return sheet.with_element(section, len(found), toml(value), lines=True)
    made = table(f"[[{key_path(section)}]]", value)
    if there:
        return insert_lines(sheet.text, sheet.blocks(section)[-1].end, "\n" + made)
    return _insert_section(sheet, str(section[0]), made)


def _with_section(sheet: Sheet, key: str, value: Any) -> str:
    if not isinstance(value, dict):
        raise EditError(f"{key} is not a table; edit it in the file")
    if (key,) == _SECTIONS:
        made = "\n".join(_sections((key, name), one) for name, one in value.items())
    else:
        made = table(f"[{key_path((key,))}]", value)
    return _insert_section(sheet, key, made)


def _insert_section(sheet: Sheet, key: str, made: str) -> str:
    """Put a new section before the first of those that come after it."""
    later = _ORDER[_ORDER.index(key) + 1 :] if key in _ORDER else ()
    below = next((block for root, block in sheet.sections() if root in later), None)
    if below is None:
        return insert_lines(sheet.text, len(sheet.text), "\n" + made)
    return insert_lines(sheet.text, below.lead, made + "\n")


def _with_block(sheet: Sheet, path: Place, value: Table) -> str:
    """With a [section] for a table, behind those beside it."""
    beside: Block | None = None
    for depth in range(len(path) - 1, 0, -1):
        beside = beside or sheet.block(path[:depth], last=True)
    made = _sections(path, value)
    return _insert_section(sheet, str(path[0]), made) if beside is None else _behind(sheet, beside, made)


def _behind(sheet: Sheet, beside: Block, made: str) -> str:
    return insert_lines(sheet.text, beside.end, "\n" + made)


def _with_header(sheet: Sheet, path: Place, value: Table) -> str:
    """With the head of a table that only has [sections] below it, and these keys."""
    first = sheet.block(path)
    if first is None:
        raise EditError(f"{'.'.join(map(str, path))} is written in a way that only its author can edit; edit the file")
    return insert_lines(sheet.text, first.lead, table(f"[{key_path(path)}]", value) + "\n")


def _sections(path: Place, value: Table) -> str:
    """A table as its [section]; its sounds get one of their own."""
    own = value.get(_OWN_SECTION)
    keys = {key: one for key, one in value.items() if key != _OWN_SECTION or not own}
    made = table(f"[{key_path(path)}]", keys)
    return made + "\n" + table(f"[{key_path((*path, _OWN_SECTION))}]", own) if own else made


def _moved(sheet: Sheet, section: str, place: int, new: int) -> str:
    there, found = _found(sheet.data, (section,))
    count = len(found) if there and isinstance(found, list) else 0
    if not (0 <= place < count and 0 <= new < count):
        raise EditError(f"{section} has {count} entries; nothing was moved")
    if place == new:
        return sheet.text
    if sheet.has_value((section,)):
        order = [each for index, each in enumerate(found) if index != place]
        order.insert(new, found[place])
        return list_changed(sheet.text, (section,), changes(found, order), list(map(toml, order)), lines=True)
    block = sheet.blocks((section,))[place]
    moved = sheet.text[block.lead : block.end]
    moved += "" if moved.endswith("\n") else "\n"
    rest = Sheet(sheet.without(block))
    left = rest.blocks((section,))
    if new == len(left):
        return insert_lines(rest.text, left[-1].end, "\n" + moved)
    return insert_lines(rest.text, left[new].lead, moved + "\n")
