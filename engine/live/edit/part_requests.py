"""Requests to edit the parts of the current rig by their place: what each changes, and its sentence."""

from functools import partial
from typing import Any, Final

from engine.live.edit.listed_sounds import put_sounds
from engine.live.edit.rig_texts import Change
from engine.live.show import Show
from engine.plurals import counted
from engine.protocol import (
    AddSceneRequest,
    Answer,
    AnswerCode,
    MovePartRequest,
    PutValuesRequest,
    RemovePartRequest,
    RenamePartRequest,
    SoundsRequest,
    refused,
)
from engine.rig.edit import named_parts, part_edits, scene_edits
from engine.rig.models.rig import SCENE_NUMBERS
from engine.rig.read.raw_data import no_such
from engine.rig.read.sound_list import shipped

#: what is never edited over the socket: who may reach this computer, and which of its files are opened
_CLOSED: Final = ("format", "include", "remote", "osc", "network")
_LISTS: Final = ("songs", "setlists", "players", "controls", "tallies", "displays")

_Plan = tuple[Change, str] | Answer


def values_plan(show: Show, asked: PutValuesRequest) -> _Plan:
    """Put values into their places."""
    if (outdated := _outdated(show, asked.revision)) is not None:
        return outdated
    for each in asked.values:
        if (fault := _closed(each.path, each.value)) is not None:
            return refused(AnswerCode.NOT_ALLOWED, f"{fault}; nothing was changed")
    values = [(tuple(each.path), each.value) for each in asked.values]
    first = " ".join(map(str, asked.values[0].path))
    more = f" and {counted(len(values) - 1, 'more value')}" if values[1:] else ""
    return partial(part_edits.put_values, values=values), asked.words or f"changed: {first}{more}"


def _outdated(show: Show, revision: int | None) -> Answer | None:
    """The refusal of an edit by place that was made for another revision of the rig."""
    if revision in (None, show.revision):
        return None
    return refused(AnswerCode.OUTDATED, "the rig has changed since you looked at it; look again. Nothing was changed")


def _closed(path: list[str | int], value: Any) -> str | None:
    """Why this may not be edited, or None."""
    if path[0] in _CLOSED:
        return f"{path[0]} can only be edited in the file"
    for key, one in _leaves(path[-1], value):
        if key == "device" and one is not None:
            return "a device by its path can only be given in the file"
        if key == "sounds_from" and one is not None and one not in shipped():
            return f"sounds_from takes one of the built-in lists here: {', '.join(shipped())}"
    return None


def _leaves(key: str | int, value: Any) -> list[tuple[str | int, Any]]:
    """Each value in a value, with its key."""
    if isinstance(value, dict):
        return [leaf for name, one in value.items() for leaf in _leaves(name, one)]
    if isinstance(value, list):
        return [leaf for one in value for leaf in _leaves(key, one)]
    return [(key, value)]


def rename_plan(show: Show, asked: RenamePartRequest) -> _Plan:
    """Rename a part."""
    if asked.section not in named_parts.NAMED:
        return _no_section(asked.section, named_parts.NAMED)
    what = named_parts.NAMED[asked.section][0]
    change = partial(named_parts.rename_part, section=asked.section, name=asked.name, new=asked.new)
    return change, f"{what} {asked.name} is now called {asked.new}"


def remove_plan(show: Show, asked: RemovePartRequest) -> _Plan:
    """Remove a part with what uses it."""
    if asked.section not in named_parts.NAMED:
        return _no_section(asked.section, named_parts.NAMED)
    what = named_parts.NAMED[asked.section][0]
    uses = named_parts.users(show.engine.rig, asked.section, asked.name)
    also = f", and what used it in {counted(uses, 'place')}" if uses else ""
    change = partial(named_parts.remove_part, section=asked.section, name=asked.name)
    return change, f"{what} {asked.name} removed{also}"


def move_plan(show: Show, asked: MovePartRequest) -> _Plan:
    """Move an entry of a list."""
    if asked.section not in _LISTS:
        return _no_section(asked.section, _LISTS)
    if (outdated := _outdated(show, asked.revision)) is not None:
        return outdated
    change = partial(part_edits.move_part, section=asked.section, place=asked.place, new=asked.new)
    return change, f"{_moved_words(show, asked)} {asked.new + 1}"


def _moved_words(show: Show, asked: MovePartRequest) -> str:
    """ "Friday is now set list", for the new place to follow."""
    entries = getattr(show.engine.rig, asked.section)
    if asked.section in named_parts.NAMED and asked.place < len(entries):
        return f"{entries[asked.place].name} is now {named_parts.NAMED[asked.section][0]}"
    return f"{asked.section}: entry {asked.place + 1} is now entry"


def _no_section(found: str, known: Any) -> Answer:
    return refused(AnswerCode.NOT_POSSIBLE, f"{no_such('section', found, known)}; nothing was changed")


def add_scene_plan(show: Show, asked: AddSceneRequest) -> _Plan:
    """Add a scene after the others."""
    taken = {scene.number for scene in show.engine.rig.scenes if scene.number is not None}
    number = asked.number or next((each for each in range(max(taken) + 1, SCENE_NUMBERS[1] + 1)), SCENE_NUMBERS[1])
    if number in taken:
        return refused(AnswerCode.NOT_POSSIBLE, f"there is a scene {number} already; nothing was changed")
    names = {scene.name for scene in show.engine.rig.scenes}
    name = asked.name or next(each for each in (f"Scene {number}", f"New scene {number}") if each not in names)
    change = partial(scene_edits.add_scene, number=number, name=name, like=asked.like, play=asked.play)
    return change, f"scene {number} {name} added"


def sounds_plan(show: Show, asked: SoundsRequest, count: int) -> _Plan:
    """Give an instrument the sounds of a list in CSV, beside those that it has; `count`: how many it has."""
    instruments = show.engine.rig.instruments
    if asked.instrument not in instruments:
        return refused(AnswerCode.UNKNOWN_INSTRUMENT, no_such("instrument", asked.instrument, instruments))
    programs_from = instruments[asked.instrument].programs_from
    change = partial(put_sounds, instrument=asked.instrument, csv=asked.csv, programs_from=programs_from)
    return change, f"{asked.instrument}: {counted(count, 'sound')} from the list"
