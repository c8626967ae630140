"""Reads a rig file, or says everything that is wrong with it at once, by file, line and key."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from engine.rig.checks import Complaint, cross_check
from engine.rig.models import Rig, rig_model
from engine.rig.places import line_of, lines_of
from engine.rig.schema import allowed_keys
from filters.registry import registry

Keys = tuple[str | int, ...]


@dataclass(frozen=True, order=True)
class Problem:
    """One thing that is wrong. Prints as one sentence: FILE:LINE: KEY: what was found; what is allowed."""

    file: str
    line: int
    key: str
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: " + (f"{self.key}: " if self.key else "") + self.text


class RigError(Exception):
    """A rig file cannot be used; `problems` are all that was found, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in self.problems))


def load(path: Path) -> Rig:
    """The rig in a file. Raises RigError."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        line = path.read_bytes()[: fault.start].count(b"\n") + 1
        raise _whole(path, line, "this is not UTF-8 text; save the file as UTF-8") from None
    except FileNotFoundError:
        raise _whole(path, 1, "there is no such file; make one with: bayleaf new") from None
    except IsADirectoryError:
        raise _whole(path, 1, "this is a folder; name the rig file in it") from None
    except OSError as fault:
        raise _whole(path, 1, f"the file cannot be read: {fault.strerror}") from None
    return read(text, str(path))


def read(text: str, source: str) -> Rig:
    """The rig in a text; `source` names it in errors. Raises RigError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise _syntax(text, source, fault) from None
    complaints = list(cross_check(data))
    try:
        rig = rig_model().model_validate(data)
    except ValidationError as fault:
        complaints += _complaints(data, fault.errors())
    else:
        if not complaints:
            return rig
    lines = lines_of(text)
    raise RigError(
        Problem(source, line_of(lines, keys), ".".join(str(k + 1 if isinstance(k, int) else k) for k in keys), told)
        for keys, told in complaints
    )


def _whole(path: Path, line: int, text: str) -> RigError:
    return RigError([Problem(str(path), line, "", text)])


def _syntax(text: str, source: str, fault: tomllib.TOMLDecodeError) -> RigError:
    said, _, place = str(fault).partition(" (at ")
    words = place.replace(",", " ").replace(")", " ").split()
    line = int(words[1]) if len(words) > 1 and words[0] == "line" else text.rstrip().count("\n") + 1
    return RigError([Problem(source, line, "", f"this is not TOML: {said[:1].lower()}{said[1:]}")])


# From pydantic's findings to sentences


def _complaints(data: dict[str, Any], errors: list[ErrorDetails]) -> list[Complaint]:
    told: dict[Keys, list[str]] = {}
    for error in errors:
        keys, found = _in_file(data, error)
        sentence = _sentence(keys, found, error)
        listed = told.setdefault(keys, [])
        if sentence not in listed:
            listed.append(sentence)
    return [Complaint(keys, _joined(listed)) for keys, listed in told.items()]


def _joined(sentences: list[str]) -> str:
    """The kinds of value that were all tried in turn, as one sentence."""
    head, separator, _ = sentences[0].partition("; allowed: ")
    if not separator or any(not sentence.startswith(head + separator) for sentence in sentences):
        return "; ".join(sentences)
    return head + separator + ", or ".join(sentence[len(head + separator) :] for sentence in sentences)


def _in_file(data: Any, error: ErrorDetails) -> tuple[Keys, Any]:
    """The part of pydantic's place that stands in the file, and what stands there."""
    keys: Keys = ()
    for place, part in enumerate(error["loc"]):
        if _stands_in(data, part):
            data = data[part]
        elif error["type"] == "missing" and place == len(error["loc"]) - 1:
            return (*keys, part), None
        else:
            continue  # a filter's tag, or which of several kinds was tried
        keys = (*keys, part)
    return keys, data


def _stands_in(data: Any, part: str | int) -> bool:
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


def _sentence(keys: Keys, found: Any, error: ErrorDetails) -> str:
    kind, context = error["type"], error.get("ctx", {})
    if kind == "missing":
        return "this key is missing; it is needed here"
    if kind == "extra_forbidden":
        return _unknown_key(keys)
    if kind == "union_tag_invalid":
        return _unknown("filter", context["tag"], sorted(registry()))
    if kind == "union_tag_not_found":
        return 'the filter\'s name is missing; write filter = "NAME"'
    if kind == "value_error" and isinstance(found, dict):
        return error["msg"].removeprefix("Value error, ")
    return f"found {_shown(found)}; allowed: {_allowed(kind, context, error['msg'])}"


def _allowed(kind: str, context: dict[str, Any], message: str) -> str:
    if kind in _KINDS:
        return _KINDS[kind]
    if kind == "literal_error":
        return str(context["expected"]).replace("'", '"')
    if kind == "greater_than_equal":
        return f"{context['ge']} or more"
    if kind == "less_than_equal":
        return f"{context['le']} or less"
    if kind in ("too_short", "too_long", "missing_argument"):
        bound = context.get("min_length", context.get("max_length"))
        return f"{'at least' if kind == 'too_short' else 'at most'} {bound}"
    return message.removeprefix("Value error, ").removeprefix("Input should be ")


def _unknown_key(keys: Keys) -> str:
    return _unknown("key", str(keys[-1]), allowed_keys(rig_model(), keys[:-1]))


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
        return "a table" if found else "an empty table"
    if isinstance(found, list):
        return f"a list of {len(found)}" if found else "an empty list"
    return str(found)
