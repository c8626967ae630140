"""A rig that comes over MIDI or from a page: what it may not change, whoever sends it.

Whatever opens this machine to others, or makes it open a file, is the player's to change: `[osc]`, `[network]`,
`[remote]`, the devices of ports, the sound lists and the included files. So no file that the new text alone names is
opened to find out.
"""

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from engine.rig.edit.scene_edits import EditError
from engine.rig.models.rig import Input, Output, Rig
from engine.rig.read.included import named_files
from engine.rig.read.load import read
from engine.rig.read.toml_errors import TomlError
from engine.rig.read.toml_text import parsed

_NAMED: Final = 5  # that a refusal lists
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def checked(current: str, *, new: str, source: str, way: str, folder: Path) -> str:
    """The new text, if it may take the place of the current one. `source` names it in errors; `way` says how it came,
    such as "over MIDI"; `folder` has the files that the current one includes.

    Raises RigError, and EditError with the reason for a refusal.
    """
    if _included(new) != _included(current):
        raise EditError(_refused(["include"], way))
    old, wanted = (read(text, source, lists=False, folder=folder) for text in (current, new))
    changed = list(_changed(old, wanted))
    if changed:
        raise EditError(_refused(changed, way))
    return new


def _included(text: str) -> list[str]:
    """The files that a text includes; none if it is not TOML, which is reported when it is read."""
    try:
        return named_files(parsed(text))
    except TomlError:
        return []


def _refused(changed: list[str], way: str) -> str:
    listed = ", ".join(changed[:_NAMED]) + (f" and {len(changed) - _NAMED} more" if len(changed) > _NAMED else "")
    remedy = "change that in the rig file, or play the rig from a file (bayleaf restore FILE.syx)"
    return f"a rig that comes {way} may not change {listed}; {remedy}"


def _changed(current: Rig, new: Rig) -> Iterator[str]:
    """The names of what differs and may not."""
    for table in ("osc", "network", "remote"):
        if getattr(current, table) != getattr(new, table):
            yield f"[{table}]"
    for kind in ("inputs", "outputs"):
        yield from _differing(kind, "device", _devices(getattr(current, kind)), _devices(getattr(new, kind)))
    yield from _differing("inputs", "keyboard", _keyboards(current), _keyboards(new))
    yield from _differing("instruments", "sounds_from", _lists(current), _lists(new))


def _devices(ports: Mapping[str, Input | Output]) -> dict[str, object]:
    """The devices by port, each with its machine."""
    return {name: (port.machine, port.device) for name, port in ports.items() if port.device is not None}


def _keyboards(rig: Rig) -> dict[str, object]:
    """The keyboards by input, each with its machine."""
    return {name: (port.machine, port.keyboard) for name, port in rig.inputs.items() if port.keyboard is not None}


def _lists(rig: Rig) -> dict[str, object]:
    """The sound lists by instrument."""
    return {name: gear.sounds_from for name, gear in rig.instruments.items() if gear.sounds_from is not None}


def _differing(table: str, key: str, current: Mapping[str, object], new: Mapping[str, object]) -> Iterator[str]:
    for name in dict.fromkeys((*current, *new)):
        if current.get(name) != new.get(name):
            yield f"{table}.{name if _BARE.fullmatch(name) else json.dumps(name)}.{key}"
