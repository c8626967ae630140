"""Templates for instruments, for `like = "NAME"`: they supply keys that the instrument does not have."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from engine.rig.read.raw_data import Complaint


@cache
def templates() -> dict[str, dict[str, Any]]:
    """The keys of each template, by name."""
    return tomllib.loads(files("presets").joinpath("instruments.toml").read_text(encoding="utf-8"))


def with_templates(data: dict[str, Any]) -> tuple[dict[str, Any], list[Complaint]]:
    """A rig's data with the templates filled in, and the mistakes; an instrument's own keys override its template."""
    instruments = data.get("instruments")
    if not isinstance(instruments, dict):
        return data, []
    filled, complaints = {}, []
    for name, gear in instruments.items():
        kind = gear.get("like") if isinstance(gear, dict) else None
        if isinstance(kind, str) and kind not in templates():
            text = f'found "{kind}"; allowed: {", ".join(templates())}'
            complaints.append(Complaint(("instruments", name, "like"), text))
        filled[name] = {**templates().get(kind, {}), **gear} if isinstance(kind, str) else gear
    return {**data, "instruments": filled}, complaints
