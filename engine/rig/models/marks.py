"""Finds the fields that a model marks, through all models inside it, and what a rig has there."""

from collections.abc import Iterator
from functools import cache
from typing import Any, TypeVar

from pydantic import BaseModel

from engine.rig.models.fields import Model, fields_of, models_in

Keys = tuple[str | int, ...]
Mark = TypeVar("Mark")


def marked_values(rig: dict[str, Any] | BaseModel, model: Model, kind: type[Mark]) -> Iterator[tuple[Keys, Mark, Any]]:
    """The place, the mark and the value of every field with a mark of this kind: in raw data, which may still be wrong,
    or in a model. Fields that the rig leaves out have the value None."""
    for path, mark in _marked(model):
        if isinstance(mark, kind):
            for keys, value in _values(rig, path, ()):
                yield keys, mark, value


@cache
def _marked(model: Model) -> tuple[tuple[tuple[str | None, ...], Any], ...]:
    """The paths of all fields that have marks of any kind; None is any element of a list or a table by name."""
    found: list[tuple[tuple[str | None, ...], Any]] = []
    for key, field in fields_of(model).items():
        found += [((key,), mark) for mark in field.metadata]
        for depth, inner in models_in(field.annotation):
            found += [((key, *[None] * depth, *path), mark) for path, mark in _marked(inner)]
    return tuple(found)


def _values(part: Any, path: tuple[str | None, ...], keys: Keys) -> Iterator[tuple[Keys, Any]]:
    if not path:
        yield keys, part
    elif path[0] is None:
        for key, inner in elements(part):
            yield from _values(inner, path[1:], (*keys, key))
    else:
        yield from _values(_value(part, path[0]), path[1:], (*keys, path[0]))


def elements(part: Any) -> Iterator[tuple[str | int, Any]]:
    """The elements of a list with their indices, or of a table with their names; of anything else there are none."""
    if isinstance(part, dict):
        yield from part.items()
    elif isinstance(part, list | tuple):
        yield from enumerate(part)


def _value(part: Any, key: str) -> Any:
    if isinstance(part, BaseModel):
        fields = type(part).model_fields.items()
        return next(getattr(part, name) for name, field in fields if key == (field.alias or name))
    return part.get(key) if isinstance(part, dict) else None
