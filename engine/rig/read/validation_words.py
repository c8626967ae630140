"""Turns pydantic's findings about a rig's data into sentences for its author."""

import re
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from engine.rig.models.rig import rig_model
from engine.rig.read.allowed_keys import allowed_keys
from engine.rig.read.raw_data import Keys, as_written
from filters.registry import registry


def by_place(data: dict[str, Any], errors: Iterable[ErrorDetails]) -> dict[Keys, list[ErrorDetails]]:
    """The findings at each place in the data."""
    places: dict[Keys, list[ErrorDetails]] = {}
    for error in errors:
        places.setdefault(_in_file(data, error)[0], []).append(error)
    return places


def sentence(data: dict[str, Any], errors: Iterable[ErrorDetails]) -> str:
    """What the findings at one place mean."""
    return _joined(list(dict.fromkeys(_sentence(data, *_in_file(data, error), error) for error in errors)))


def _joined(sentences: list[str]) -> str:
    """One sentence from those about each kind of value that was tried."""
    head, separator, _ = sentences[0].partition("; allowed: ")
    if not separator or any(not sentence.startswith(head + separator) for sentence in sentences):
        return "; ".join(sentences)
    return head + separator + ", or ".join(sentence[len(head + separator) :] for sentence in sentences)


def _in_file(data: Any, error: ErrorDetails) -> tuple[Keys, Any]:
    """The part of pydantic's location that is in the file, and the value there."""
    keys: Keys = ()
    for place, part in enumerate(error["loc"]):
        if part == "[key]":
            return keys, keys[-1]  # the key itself is what is wrong
        if place == len(keys) and keys[-2:-1] == ("through",):
            continue  # the filter's name, which pydantic adds to the location and which is not a key of the file
        if _is_in(data, part):
            data = data[part]
        elif error["type"] == "missing" and place == len(error["loc"]) - 1:
            return (*keys, part), None
        else:
            continue  # which of several kinds was tried
        keys = (*keys, part)
    return keys, data


def _is_in(data: Any, part: str | int) -> bool:
    if isinstance(data, list):
        return isinstance(part, int) and part < len(data)
    return isinstance(data, dict) and part in data


_KINDS = {
    "int_type": "a whole number",
    "float_type": "a number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _sentence(data: dict[str, Any], keys: Keys, found: Any, error: ErrorDetails) -> str:
    kind, context = error["type"], error.get("ctx", {})
    if kind == "missing":
        return "this key is missing; it is required here"
    if kind == "extra_forbidden":
        return _unknown("key", str(keys[-1]), _allowed_keys(data, keys[:-1]))
    if kind == "union_tag_invalid":
        return _unknown("filter", context["tag"], sorted(registry()))
    if kind == "union_tag_not_found":
        return 'the filter\'s name is missing; write filter = "NAME"'
    message = error["msg"].removeprefix("Value error, ")
    if kind == "value_error" and (isinstance(found, dict) or message.startswith(("did you mean", "allowed:"))):
        return f"found {_shown(found)}; {message}"
    if kind == "tuple_type" and isinstance(found, dict):
        return f"found one table; allowed: a list of tables, headed [[{keys[-1]}]] in double brackets"
    allowed = _allowed(kind, context, error["msg"])
    words = re.findall('"([^"]*)"', allowed) if kind == "literal_error" and isinstance(found, str) else []
    return f"found {_shown(found)}; {_meant(str(found), words, 0.7)}allowed: {allowed}"


def _allowed(kind: str, context: dict[str, Any], message: str) -> str:
    if kind in _KINDS:
        return _KINDS[kind]
    if kind == "literal_error":
        return str(context["expected"]).replace("'", '"')
    if kind == "too_short":
        return f"a list of at least {context['min_length']}"
    if kind == "too_long":
        return f"a list of at most {context['max_length']:,}"
    return message.removeprefix("Value error, ").removeprefix("Input should be ")


def _allowed_keys(data: Any, keys: Keys) -> list[str]:
    """The keys that are allowed in the table at this place; in a filter, the keys of that filter."""
    model: type[BaseModel] = rig_model()
    rest = keys
    for place, key in enumerate(keys):
        data = data[key]
        if place and keys[place - 1] == "through":
            model, rest = registry()[data["filter"]].settings, keys[place + 1 :]
    return allowed_keys(model, rest)


def _unknown(what: str, found: str, known: list[str]) -> str:
    return f"unknown {what} {as_written(found)}; {_meant(found, known)}allowed here: {', '.join(known)}"


def _meant(found: str, known: list[str], alike: float = 0.6) -> str:
    """The word that may have been meant, as the beginning of a remedy; nothing if none is so much like it (0 to 1)."""
    close = get_close_matches(found, known, 1, alike)
    return f'did you mean "{close[0]}"? ' if close else ""


def _shown(found: Any) -> str:
    if isinstance(found, str):
        return as_written(found)
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, dict):
        return f"a table with {', '.join(map(str, found))}" if found else "an empty table"
    if isinstance(found, list):
        return _shown_list(found)
    return str(found)


def _shown_list(found: list[Any]) -> str:
    if not found:
        return "an empty list"
    if len(found) > 4 or any(isinstance(one, (list, dict)) for one in found):
        return f"a list of {len(found)}"
    return f"[{', '.join(map(_shown, found))}]"
