"""Parts of the engine's status in words: the set list, the clock and the time code."""

from collections.abc import Iterator
from typing import Any

from engine.plurals import counted, times


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


def network_faults_in_words(found: dict[str, Any]) -> Iterator[str]:
    """What has gone wrong on the network of a rig, here and at the other machines; nothing if nothing has."""
    if here := _faults_in_words({"link": found["faults"], "stuck": found["stuck"]}):
        yield f"{found['machine']}: {here}"
    for machine in found["machines"]:
        if machine["garbled"]:
            yield f"{machine['name']} sent nonsense {times(machine['garbled'])}; it was ignored"
        if there := _faults_in_words(machine["faults"] or {}):
            yield f"{machine['name']}: {there}"


def _faults_in_words(found: dict[str, int]) -> str:
    words = {
        "garbled": lambda count: f"orders or claims made no sense {times(count)}",
        "link": lambda count: f"{counted(count, 'fault')} of the link",
        "stuck": lambda count: f"its loop was stuck {times(count)}",
        "own": lambda count: f"{counted(count, 'fault')} of Bayleaf itself",
    }
    return ", ".join(words[kind](count) for kind, count in found.items() if count)
