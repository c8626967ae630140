"""JSON for the socket: one value a line, and large values piece by piece.

The library holds Python's lock while it writes, so whatever may be large is given to it in small pieces, in a worker
thread.
"""

import json
from typing import Any, Final

from engine.protocol import Facts, WrittenJson

_DEEP: Final = 4  # levels of a large answer that are written piece by piece


def line_of(facts: Facts) -> bytes:
    """A line of the socket."""
    return json.dumps(facts).encode() + b"\n"


def large_line(facts: Facts) -> bytes:
    """The same, for a worker thread."""
    return written(facts, _DEEP).encode() + b"\n"


def written(value: Any, deep: int) -> str:
    """As JSON, of which `deep` levels are written piece by piece."""
    if isinstance(value, WrittenJson):
        return value
    if deep and isinstance(value, dict):
        inner = ", ".join(f"{json.dumps(key)}: {written(each, deep - 1)}" for key, each in value.items())
        return f"{{{inner}}}"
    if deep and isinstance(value, list):
        return f"[{', '.join(written(each, deep - 1) for each in value)}]"
    return json.dumps(value)
