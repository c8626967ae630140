"""Reads a rig file, or lists all its mistakes together, each by file, line and key."""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from engine.rig.models.rig import Rig, rig_model
from engine.rig.read.allowed_keys import allowed_keys
from engine.rig.read.cross_checks import cross_check
from engine.rig.read.raw_data import Complaint
from engine.rig.read.sound_list import with_lists
from engine.rig.read.templates import with_templates
from engine.rig.read.toml_errors import TomlError, parsed
from engine.rig.read.toml_layout import line_of, lines_of
from engine.user_error import UserError
from filters.registry import registry

Keys = tuple[str | int, ...]
_NO_LINE: Final = 0


@dataclass(frozen=True, order=True)
class RigProblem:
    """One mistake. Prints as one sentence: FILE:LINE: KEY: what was found; what is allowed.

    Line 0 means the file as a whole, and is not printed.
    """

    file: str
    line: int
    key: str
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        line = f"{place}: " + (f"{self.key}: " if self.key else "") + self.text
        return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in line)


class RigError(UserError):
    """A rig file cannot be used; `problems` are all its mistakes, in the order of the file."""

    def __init__(self, problems: Iterable[RigProblem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in self.problems))


def load(path: Path) -> Rig:
    """The rig in a file. Raises RigError."""
    return read(text_of(path), str(path))


def text_of(path: Path) -> str:
    """The text of a rig file, with single-character line ends. Raises RigError if it cannot be read."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        line = path.read_bytes()[: fault.start].count(b"\n") + 1
        raise _whole(path, line, "this is not UTF-8 text; save the file as UTF-8") from None
    except FileNotFoundError:
        raise _whole(path, _NO_LINE, f"there is no such file; make one with: bayleaf new {path}") from None
    except IsADirectoryError:
        raise _whole(path, _NO_LINE, "this is a folder; name the rig file in it") from None
    except OSError as fault:
        raise _whole(path, _NO_LINE, f"the file cannot be read: {fault.strerror}") from None
    except ValueError as fault:  # a path that is impossible on any system
        raise _whole(path, _NO_LINE, f"the file cannot be read: {fault}") from None


def read(text: str, source: str, *, lists: bool = True) -> Rig:
    """The rig in a text. `source` names it in errors; sound lists are looked for beside it. Raises RigError.

    Without `lists`, sound lists are not read, and sounds that may be in one are not checked.
    """
    try:
        text.encode()
        data = parsed(text)
    except UnicodeEncodeError as fault:
        line = text[: fault.start].count("\n") + 1
        text = "this line contains half a character (a lone surrogate), which no file can hold; retype it"
        raise RigError([RigProblem(source, line, "", text)]) from None
    except TomlError as fault:
        raise RigError([RigProblem(source, fault.line, fault.key, fault.text)]) from None
    data, complaints = with_templates(data)
    if lists:
        data, wrong = with_lists(data, Path(source).parent)
        complaints += wrong
    complaints += cross_check(data, lists=lists)
    try:
        rig = rig_model().model_validate(data)
    except ValidationError as fault:
        complaints += _complaints(data, fault.errors())
    else:
        if not complaints:
            return rig
    lines = lines_of(text)
    raise RigError(RigProblem(source, line_of(lines, keys), _key(keys), text) for keys, text, _ in complaints)


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def _key(keys: Keys) -> str:
    """A path as people write it: list elements count from 1, and names that need quotes have them."""
    return ".".join(
        str(key + 1) if isinstance(key, int) else key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)
        for key in keys
    )


def _whole(path: Path, line: int, text: str) -> RigError:
    return RigError([RigProblem(str(path), line, "", text)])


# From pydantic's findings to sentences


def _complaints(data: dict[str, Any], errors: list[ErrorDetails]) -> list[Complaint]:
    sentences: dict[Keys, list[str]] = {}
    for error in errors:
        keys, found = _in_file(data, error)
        sentence = _sentence(data, keys, found, error)
        listed = sentences.setdefault(keys, [])
        if sentence not in listed:
            listed.append(sentence)
    return [Complaint(keys, _joined(listed)) for keys, listed in sentences.items()]


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
    if kind == "value_error" and isinstance(found, dict):
        return f"found {_shown(found)}; {error['msg'].removeprefix('Value error, ')}"
    if kind == "tuple_type" and isinstance(found, dict):
        return f"found one table; allowed: a list of tables, headed [[{keys[-1]}]] in double brackets"
    return f"found {_shown(found)}; allowed: {_allowed(kind, context, error['msg'])}"


def _allowed(kind: str, context: dict[str, Any], message: str) -> str:
    if kind in _KINDS:
        return _KINDS[kind]
    if kind == "literal_error":
        return str(context["expected"]).replace("'", '"')
    if kind == "too_short":
        return f"a list of at least {context['min_length']}"
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
    close = get_close_matches(found, known, 1)
    remedy = f'did you mean "{close[0]}"? ' if close else ""
    return f'unknown {what} "{found}"; {remedy}allowed here: {", ".join(known)}'


def _shown(found: Any) -> str:
    if isinstance(found, str):
        return f'"{found}"'
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
