"""Finds the fields that a model marks, through all models inside it, and what a rig has there."""

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, NamedTuple, TypeVar, get_args, get_origin

from pydantic import BaseModel

from engine.rig.models.fields import Model, fields_of, models_in

Keys = tuple[str | int, ...]
Mark = TypeVar("Mark")


class _Only(NamedTuple):
    """A step of a path: it goes on only where the table has this value, which names its kind among several."""

    key: str
    value: Any


_Path = tuple[str | _Only | None, ...]


def marked_values(rig: dict[str, Any] | BaseModel, model: Model, kind: type[Mark]) -> Iterator[tuple[Keys, Mark, Any]]:
    """The place, the mark and the value of every field with a mark of this kind: in raw data, which may still be wrong,
    or in a model. Fields that the rig leaves out have the value None."""
    for path, mark in _marked(model):
        if isinstance(mark, kind):
            for keys, value in _values(rig, path, ()):
                yield keys, mark, value


@cache
def _marked(model: Model) -> tuple[tuple[_Path, Any], ...]:
    """The paths of all fields that have marks of any kind; None is any element of a list or a table by name."""
    found: list[tuple[_Path, Any]] = []
    for key, field in fields_of(model).items():
        found += [((key,), mark) for mark in field.metadata]
        for depth, inner in models_in(field.annotation):
            found += [((key, *[None] * depth, *_kind(inner), *path), mark) for path, mark in _marked(inner)]
    return tuple(found)


def _kind(model: Model) -> Iterator[_Only]:
    """What a table of this model has, and one of another model at the same place has not."""
    for key, field in fields_of(model).items():
        allowed = get_args(field.annotation) if get_origin(field.annotation) is Literal else ()
        if len(allowed) == 1:
            yield _Only(key, allowed[0])


def _values(part: Any, path: _Path, keys: Keys) -> Iterator[tuple[Keys, Any]]:
    if not path:
        yield keys, part
        return
    step, rest = path[0], path[1:]
    if step is None:
        for key, inner in elements(part):
            yield from _values(inner, rest, (*keys, key))
    elif isinstance(step, _Only):
        if _value(part, step.key) == step.value:
            yield from _values(part, rest, keys)
    else:
        yield from _values(_value(part, step), rest, (*keys, step))


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
