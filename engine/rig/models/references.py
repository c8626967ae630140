"""References between the parts of a rig: the mark that the models carry, and all that a rig has."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from pydantic import BaseModel

from engine.rig.models.fields import Model
from engine.rig.models.marks import Keys, marked_values


@dataclass(frozen=True)
class Reference:
    """Marks a field that names something in another section of the rig, or lists such names (`many`).

    `section`: "inputs", "outputs", "instruments", "routes", "scenes" (by number or name), "songs",
    "set lists", "players" or "machines".
    `word`: a text that may be written there and is not a name, such as "internal".
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
    for keys, mark, value in marked_values(rig, model, Reference):
        if _may_be_name(value, mark):
            yield FoundReference(keys, mark, value)
        elif mark.many and isinstance(value, list | tuple):
            yield from (
                FoundReference((*keys, place), mark, name)
                for place, name in enumerate(value)
                if _may_be_name(name, mark)
            )


def _may_be_name(value: Any, mark: Reference) -> bool:
    if isinstance(value, str):
        return value != mark.word
    return mark.section == "scenes" and isinstance(value, int) and not isinstance(value, bool)
