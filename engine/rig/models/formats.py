"""The formats of the rig file: where a rig uses keys that came with a later one, which are marked with `Since`."""

from collections.abc import Iterator
from typing import Any

from engine.rig.models.fields import Model
from engine.rig.models.marks import Keys, marked_values
from filters.registry import Since

__all__ = ["Since", "too_new"]


def too_new(rig: dict[str, Any], model: Model) -> Iterator[tuple[Keys, Since]]:
    """The places in raw data of what is newer than its format, each with the mark that says so."""
    stated = rig.get("format")
    if type(stated) is not int:  # that is reported by itself
        return
    for keys, since, value in marked_values(rig, model, Since):
        new = value is not None and (since.concerns is None or since.concerns(value))
        if new and stated < since.format:
            yield keys, since
