"""References between the parts of a rig: the mark that the models carry, and the one walker that finds them."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

from pydantic import BaseModel

from engine.rig.models.fields import Model, fields_of, models_in

Keys = tuple[str | int, ...]


@dataclass(frozen=True)
class Reference:
    """Marks a field that names something in another section of the rig, or lists such names (`many`).

    `section`: "inputs", "outputs", "instruments", "routes", "scenes" (by number or name) or "machines". `word`: a text
    that may be written there and is not a name, such as "internal".
    """

    section: str
    word: str | None = None
    many: bool = False


class FoundReference(NamedTuple):
    """A name (of a scene also a number), and its place; list indices count from 0."""

    keys: Keys
    mark: Reference
    name: str | int


def references(rig: dict[str, Any] | BaseModel, model: Model) -> Iterator[FoundReference]:
    """Every reference in a rig: in raw data, which may still be wrong, or in a model. Values of a wrong kind are left
    out."""
    for path, mark in _marked(model):
        for keys, value in _values(rig, path, ()):
            if _may_be_name(value, mark):
                yield FoundReference(keys, mark, value)
            elif mark.many:
                yield from (
                    FoundReference((*keys, place), mark, name)
                    for place, name in _elements(value)
                    if _may_be_name(name, mark)
                )


def _may_be_name(value: Any, mark: Reference) -> bool:
    if isinstance(value, str):
        return value != mark.word
    return mark.section == "scenes" and isinstance(value, int) and not isinstance(value, bool)


@cache
def _marked(model: Model) -> tuple[tuple[tuple[str | None, ...], Reference], ...]:
    """The paths of all marked fields in a model; None is any element of a list or a table by name."""
    found: list[tuple[tuple[str | None, ...], Reference]] = []
    for key, field in fields_of(model).items():
        found += [((key,), mark) for mark in field.metadata if isinstance(mark, Reference)]
        for depth, inner in models_in(field.annotation):
            found += [((key, *[None] * depth, *path), mark) for path, mark in _marked(inner)]
    return tuple(found)


def _values(part: Any, path: tuple[str | None, ...], keys: Keys) -> Iterator[tuple[Keys, Any]]:
    if not path:
        yield keys, part
    elif path[0] is None:
        for key, inner in _elements(part):
            yield from _values(inner, path[1:], (*keys, key))
    else:
        yield from _values(_value(part, path[0]), path[1:], (*keys, path[0]))


def _elements(part: Any) -> Iterator[tuple[str | int, Any]]:
    if isinstance(part, dict):
        yield from part.items()
    elif isinstance(part, list | tuple):
        yield from enumerate(part)


def _value(part: Any, key: str) -> Any:
    if isinstance(part, BaseModel):
        fields = type(part).model_fields.items()
        return next(getattr(part, name) for name, field in fields if key == (field.alias or name))
    return part.get(key) if isinstance(part, dict) else None
