"""Pickles parts of a rig on their way between two processes; `pickle.loads` reads them."""

import io
import pickle
from typing import Any

from engine.rig.models.rig import rig_models


def pickled(part: Any) -> bytes:
    """The part as bytes; equal parts are pickled alike, but for chance."""
    written = io.BytesIO()
    _Pickler(written, protocol=pickle.HIGHEST_PROTOCOL).dump(part)
    return written.getvalue()


class _Pickler(pickle.Pickler):
    """Knows the models that `rig_model` makes at run time, which have no place of their own to be found at."""

    def reducer_override(self, obj: Any) -> Any:
        if isinstance(obj, type) and obj in rig_models().values():
            return _rig_model, (obj.__name__,)
        return NotImplemented


def _rig_model(name: str) -> type:
    return rig_models()[name]
