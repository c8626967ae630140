"""What the fields of a model can hold: the keys of the rig file, and the models inside a field."""

from collections.abc import Iterator
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

Model = type[BaseModel]


def fields_of(model: Model) -> dict[str, FieldInfo]:
    """The fields of a model by their keys in the rig file."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def models_in(annotation: Any) -> Iterator[tuple[int, Model]]:
    """The models that a field's annotation can hold, each with the number of lists and tables by name around it."""
    origin, parts = get_origin(annotation), get_args(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield 0, annotation
    elif origin is Annotated:
        yield from models_in(parts[0])
    elif origin in (Union, UnionType):
        for part in parts:
            yield from models_in(part)
    elif origin in (tuple, dict):  # its elements, or its values
        yield from ((depth + 1, model) for depth, model in models_in(parts[0 if origin is tuple else 1]))
