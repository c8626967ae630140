"""Parts of the engine's status in words: the set list, the clock and the time code."""

from typing import Any


def setlist_in_words(setlist: dict[str, Any]) -> str:
    """ "set list Friday", or "the scenes" for the scenes in the order of the rig file."""
    return f"set list {setlist['name']}" if setlist["name"] is not None else "the scenes"


def tempo_in_words(found: dict[str, Any]) -> str:
    """The tempo of the rig's clock, and where the clock comes from."""
    source = found["clock_from"]
    if source in (None, "internal"):
        return f"{found['tempo']:g} bpm, internal clock, {'running' if source else 'stopped'}"
    return f"{found['tempo']:g} bpm, clock from {source}"


def timecode_in_words(found: dict[str, Any]) -> str:
    """The time code, its rate, whether it runs, and where it comes from."""
    runs = "running" if found["timecode_runs"] else "stopped"
    rate, between, drop = found["timecode_rate"].partition(" ")
    source = found["timecode_from"] if found["timecode_from"] == "internal" else f"from {found['timecode_from']}"
    return f"{found['timecode']} ({rate} fps{between}{drop}, {runs}), {source}"
