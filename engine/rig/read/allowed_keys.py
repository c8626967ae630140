"""The keys that a table of the rig file may have, found in the models along a path.

pydantic's own JSON schema would need another walk, and there is none for a plug-in's filter with a type of its own.
"""

from engine.rig.models.fields import Model, fields_of, models_in


def allowed_keys(model: Model, keys: tuple[str | int, ...]) -> list[str]:
    """The keys of the table at this path, in the models' order; several kinds of table give all of theirs."""
    places = [(0, model)]  # with the number of indices or names still to come before the model
    for key in keys:
        places = [inner for depth, place in places for inner in _inside(depth, place, key)]
    return list(dict.fromkeys(name for depth, place in places if not depth for name in fields_of(place)))


def _inside(depth: int, model: Model, key: str | int) -> list[tuple[int, Model]]:
    if depth:
        return [(depth - 1, model)]
    field = fields_of(model).get(str(key))
    return list(models_in(field.annotation)) if field is not None else []
