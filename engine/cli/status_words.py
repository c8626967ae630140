"""Parts of the engine's status in words: the set list, the clock and the time code."""

from typing import Any


def setlist_in_words(setlist: dict[str, Any]) -> str:
    """ "set list Friday", or "the scenes" for the scenes in the order of the rig file."""
    return f"set list {setlist['name']}" if setlist["name"] is not None else "the scenes"


def tempo_in_words(found: dict[str, Any]) -> str:
    """The tempo of the rig's clock, and where the clock comes from."""
    return f"{found['tempo']:.1f} beats per minute, from {found['clock_from'] or 'nowhere: stopped'}"


def timecode_in_words(found: dict[str, Any]) -> str:
    """The time code, its rate, whether it runs, and where it comes from."""
    runs = "running" if found["timecode_runs"] else "stopped"
    return f"{found['timecode']} ({found['timecode_rate']} frames, {runs}), from {found['timecode_from']}"
