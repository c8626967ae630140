"""Edits of lists in a rig file: elements added, removed and changed in place.

Each function goes from text to text. A list is written as one value, or as a [[section]] for each element.
"""

from collections.abc import Sequence
from typing import Any

from engine.rig.edit.toml_edits import Block, Sheet, changes, comments_above, insert_lines, line_start, table, toml
from engine.rig.read.toml_layout import Path, blanks_end

Table = dict[str, Any]


def list_changed(
    text: str, array: Path, steps: Sequence[tuple[str, int, int]], written: Sequence[str], *, lines: bool
) -> str:
    """Apply these steps (see `changes`) to a list that is one value; `written` are its new elements."""
    for what, old, new in steps:
        sheet = Sheet(text)
        if what == "put":
            text = sheet.with_value((*array, old), written[new])
        elif what == "add":
            text = sheet.with_element(array, old, written[new], lines=lines)
        else:
            text = sheet.without_element(array, old)
    return text


def with_elements_on_lines(sheet: Sheet, array: Path) -> str:
    """The text with each element of a list on lines of its own, and a comma behind it. What is so is left as it is."""
    text = sheet.text
    spans = _elements(sheet, array)
    closing = sheet.value(array)[1] - 1
    if text[line_start(text, closing) : closing].strip():
        text = f"{text[:closing].rstrip()}\n{text[closing:]}"
    end = spans[-1][1]
    if text[blanks_end(text, end)] != ",":
        text = f"{text[:end]},{text[end:]}"
    for start, _ in reversed(spans):
        if text[line_start(text, start) : start].strip():
            text = f"{text[:start].rstrip(' ')}\n  {text[start:]}"
    return text


def element_blocks(sheet: Sheet, array: Path) -> list[Block]:
    """The elements of a list that are on lines of their own, each with its comma."""
    text, blocks = sheet.text, list[Block]()
    floor = sheet.line_end(sheet.value(array)[0])
    for start, end in _elements(sheet, array):
        begins, last = line_start(text, start), sheet.line_end(blanks_end(text, end))
        blocks.append(Block(comments_above(text, begins, floor), (start, start), begins, last, last))
        floor = last
    return blocks


def _elements(sheet: Sheet, array: Path) -> list[tuple[int, int]]:
    """The places of a list's elements."""
    elements: Any = sheet.data
    for key in array:
        elements = elements[key]
    return [sheet.value((*array, place)) for place in range(len(elements))]


def block_changed(text: str, section: Path, what: str, old: int, keys: Table) -> str:
    """Add an element ("add") or remove it ("drop") where each is written as [[section]]."""
    sheet = Sheet(text)
    blocks = sheet.blocks(section)
    if what == "drop":
        return sheet.without(blocks[old])
    model = blocks[min(old, len(blocks) - 1)]
    made = _block(text, model, keys)
    if old == len(blocks):
        return insert_lines(text, model.end, "\n" + made)
    return insert_lines(text, model.lead, made + "\n")


def table_changed(text: str, place: Path, meant: tuple[Any, Any], keys: Table) -> str:
    """Change the keys of the table in this place, whose meaning changes from the first of `meant` to the second.

    Keys whose meaning stays the same are left as they are written.
    """
    sheet = Sheet(text)
    was, now = map(_meanings, meant)
    wanted = {key: value for key, value in keys.items() if value is not None}
    there = {key for key in was if sheet.has_key((*place, key))}
    whole = sheet.has_value(place)
    if not all(sheet.has_value((*place, key)) for key in there) or (whole and not there <= wanted.keys()):
        return _as_a_whole(sheet, place, keys)
    for key in there - wanted.keys():
        text = Sheet(text).without_pair((*place, key))
    for key, value in wanted.items():
        if key not in there:
            text = Sheet(text).with_pair(place, key, toml(value))
        elif was[key] != now[key]:
            text = _value_changed(text, (*place, key), (was[key], now[key]), value)
    return text


def _meanings(one: Any) -> Table:
    """The meaning of each key of a table; for a table that is not valid, what is written."""
    if isinstance(one, dict):
        return one
    return {field.alias or name: getattr(one, name) for name, field in type(one).model_fields.items()}


def _value_changed(text: str, place: Path, meant: tuple[Any, Any], value: Any) -> str:
    """Change one value; in a chain, filters that stay are left as they are written."""
    if isinstance(value, list) and all(isinstance(each, dict) for each in value):
        return list_changed(text, place, changes(*meant), list(map(toml, value)), lines=False)
    return Sheet(text).with_value(place, toml(value))


def _as_a_whole(sheet: Sheet, place: Path, keys: Table) -> str:
    if sheet.has_value(place):
        return sheet.with_value(place, toml(keys))
    model = sheet.blocks(place[:-1])[int(place[-1])]
    return sheet.text[: model.start] + _block(sheet.text, model, keys) + sheet.text[model.last :]


def _block(text: str, model: Block, keys: Table) -> str:
    return table(text[slice(*model.head)], keys)
