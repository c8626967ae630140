"""A list of sounds in CSV, which somebody else may have written: it is read in the engine's worker process."""

from pathlib import Path

from engine.protocol import Answer, AnswerCode, LongText, refused, whole_text
from engine.rig.edit import part_edits
from engine.rig.read.sound_list import SoundListError, read_list
from engine.rig.sound_csv import from_csv


def count_sounds(csv: str | LongText) -> int | Answer:
    """How many sounds a list has, or why it cannot be read."""
    try:
        return len(_sounds(csv, 1))
    except SoundListError as fault:
        return refused(AnswerCode.NOT_POSSIBLE, f"{fault}; nothing was changed")


def put_sounds(text: str, *, instrument: str, csv: str | LongText, programs_from: int, folder: Path) -> str:
    """Change: the sounds of a list that can be read, for an instrument, beside those that it has."""
    found = _sounds(csv, programs_from)
    values = [(("instruments", instrument, "sounds", name), sound) for name, sound in found.items()]
    return part_edits.put_values(text, values=values, folder=folder)


def _sounds(csv: str | LongText, programs_from: int) -> dict[str, dict[str, object]]:
    """The sounds by name, as a rig has them. Raises SoundListError."""
    found = read_list(from_csv(whole_text(csv), "line"), "line")
    shift = programs_from - found.programs_from
    return {
        each.name: {**({"bank": [*each.bank]} if each.bank else {}), "program": each.program + shift}
        for each in found.sounds
        if each.program is not None
    }
