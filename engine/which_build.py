"""Says whether the way of a message was compiled ahead of time in this installation (see `build_backend`)."""

from importlib.util import find_spec
from typing import Final

_COMPILED_FIRST: Final = "engine.core.engine"  # if any module is compiled, this one is


def is_compiled() -> bool:
    """Whether it was; looks for the module's file and does not import it."""
    spec = find_spec(_COMPILED_FIRST)
    return spec is not None and spec.origin is not None and not spec.origin.endswith(".py")


def build_in_words() -> str:
    """The build in a word."""
    return "compiled" if is_compiled() else "interpreted"
