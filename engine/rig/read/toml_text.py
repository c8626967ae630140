"""Reads a TOML text within limits, for rigs and sound lists."""

import tomllib
from typing import Any

from engine.rig.read.toml_errors import TomlError, explained
from engine.rig.read.toml_limits import check_data, check_text


def parsed(text: str) -> dict[str, Any]:
    """The data in a TOML text. Raises TomlError."""
    check_text(text)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise explained(text, str(fault)) from None
    except RecursionError:
        raise TomlError(1, "", "this is not a rig: lists or tables are nested too deeply") from None
    except ValueError:  # Python's own limit, a few thousand digits
        raise TomlError(1, "", "this is not a rig: a number in it has too many digits") from None
    check_data(text, data)
    return data
