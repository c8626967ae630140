"""Which keys a place of the rig file may have: found by walking the models along a path."""

from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel


def allowed_keys(model: type[BaseModel], keys: tuple[str | int, ...]) -> list[str]:
    """The keys of the table at this path, in the models' order; several kinds of table give all of theirs."""
    places: list[Any] = [model]
    for key in keys:
        places = [inner for place in places for inner in _inside(place, key)]
    return list(dict.fromkeys(name for place in places for name in _names(place)))


def _is_model(place: Any) -> bool:
    return isinstance(place, type) and issubclass(place, BaseModel)


def _names(place: Any) -> list[str]:
    return [field.alias or name for name, field in place.model_fields.items()] if _is_model(place) else []


def _inside(place: Any, key: str | int) -> list[Any]:
    if isinstance(place, _Listed):
        return [place.kind]
    if _is_model(place):
        return [
            kind
            for name, field in place.model_fields.items()
            if (field.alias or name) == key
            for kind in _kinds(field.annotation)
        ]
    return []


def _kinds(annotation: Any) -> list[Any]:
    """The models that a field's annotation can hold, directly or in a list."""
    if _is_model(annotation):
        return [annotation]
    origin = get_origin(annotation)
    if origin is Annotated:
        return _kinds(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return [kind for part in get_args(annotation) for kind in _kinds(part)]
    if origin is tuple:
        return [_Listed(kind) for part in get_args(annotation) if part is not Ellipsis for kind in _kinds(part)]
    if origin is dict:
        return [_Listed(kind) for kind in _kinds(get_args(annotation)[1])]
    return []


class _Listed:
    """One level of index or name between a field and its models."""

    def __init__(self, kind: Any) -> None:
        self.kind = kind
