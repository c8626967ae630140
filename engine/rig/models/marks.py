"""Finds the fields that a model marks, through all models inside it, and what a rig has there."""

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, Literal, NamedTuple, TypeVar, get_args, get_origin

from pydantic import BaseModel

from engine.rig.models.fields import Model, fields_of, models_in

Keys = tuple[str | int, ...]
Mark = TypeVar("Mark")


#: what is marked in a model, by key
_Marked = dict[str, "_Field"]


class _Field(NamedTuple):
    """A field that has marks, or holds models that have some."""

    marks: tuple[Any, ...]
    inner: tuple["_Inner", ...]


class _Inner(NamedTuple):
    """What is marked in the models that are in this many lists and tables by name."""

    depth: int
    always: list[_Marked]
    kinds: dict[str, dict[str, _Marked]]  # in a table with this key and value, which name its kind among several


def marked_values(rig: dict[str, Any] | BaseModel, model: Model, kind: type[Mark]) -> Iterator[tuple[Keys, Mark, Any]]:
    """The place, the mark and the value of every field with a mark of this kind: in raw data, which may still be wrong,
    or in a model. Fields that a table leaves out are left out."""
    cached: Any = kind  # mypy takes a class for something that has no hash
    return _found(rig, _marked(model, cached), ())


@cache
def _marked(model: Model, kind: Any) -> _Marked:
    found: _Marked = {}
    for key, field in fields_of(model).items():
        inner: dict[int, _Inner] = {}
        for depth, each in models_in(field.annotation):
            if marked := _marked(each, kind):
                _add(inner.setdefault(depth, _Inner(depth, [], {})), each, marked)
        marks = tuple(mark for mark in field.metadata if isinstance(mark, kind))
        if marks or inner:
            found[key] = _Field(marks, tuple(inner.values()))
    return found


def _add(inner: _Inner, model: Model, marked: _Marked) -> None:
    for key, field in fields_of(model).items():
        allowed = get_args(field.annotation) if get_origin(field.annotation) is Literal else ()
        if len(allowed) == 1:
            inner.kinds.setdefault(key, {})[allowed[0]] = marked
            return
    inner.always.append(marked)


def _found(table: Any, marked: _Marked, keys: Keys) -> Iterator[tuple[Keys, Any, Any]]:
    for key, value in _items(table):
        field = marked.get(key)
        if field is None:
            continue
        place = (*keys, key)
        for mark in field.marks:
            yield place, mark, value
        for inner in field.inner:
            for where, each in _inside(value, inner.depth, place):
                for found in _fitting(inner, each):
                    yield from _found(each, found, where)


def _fitting(inner: _Inner, table: Any) -> Iterator[_Marked]:
    yield from inner.always
    for key, kinds in inner.kinds.items():
        value = _value(table, key)
        if isinstance(value, str) and value in kinds:
            yield kinds[value]


def _items(part: Any) -> Iterable[tuple[str, Any]]:
    if isinstance(part, dict):
        return part.items()
    if isinstance(part, BaseModel):
        return [(key, getattr(part, name)) for key, name in _attributes(type(part)).items()]
    return ()


def _inside(part: Any, depth: int, keys: Keys) -> Iterator[tuple[Keys, Any]]:
    """What is in so many lists and tables by name."""
    if depth == 0:
        yield keys, part
        return
    for key, inner in elements(part):
        yield from _inside(inner, depth - 1, (*keys, key))


def elements(part: Any) -> Iterator[tuple[str | int, Any]]:
    """The elements of a list with their indices, or of a table with their names; of anything else there are none."""
    if isinstance(part, dict):
        yield from part.items()
    elif isinstance(part, list | tuple):
        yield from enumerate(part)


def _value(part: Any, key: str) -> Any:
    if isinstance(part, BaseModel):
        return getattr(part, _attributes(type(part))[key])
    return part.get(key) if isinstance(part, dict) else None


@cache
def _attributes(model: Model) -> dict[str, str]:
    """The model's attributes by their keys in a rig."""
    return {field.alias or name: name for name, field in model.model_fields.items()}
