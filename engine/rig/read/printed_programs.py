"""Sounds that are given by a printed label, such as "A11": their programs are filled in, before a rig is checked."""

from typing import Any

from engine.rig.models.printed_labels import check_labels, programs_by_label
from engine.rig.read.raw_data import Complaint, Data, Keys, no_such, table


def with_printed(data: Data) -> tuple[Data, list[Complaint]]:
    """A rig's data with the programs of labels, and the labels that an instrument does not have."""
    instruments = data.get("instruments")
    if not isinstance(instruments, dict):
        return data, []
    complaints: list[Complaint] = []
    filled = {name: _filled(("instruments", name), gear, complaints) for name, gear in instruments.items()}
    return {**data, "instruments": filled}, complaints


def _filled(keys: Keys, gear: Any, complaints: list[Complaint]) -> Any:
    sounds = table(gear, "sounds")
    if not any(isinstance(sound, dict) and "printed" in sound for sound in sounds.values()):
        return gear
    try:
        labels = check_labels(gear["labels"]) if "labels" in gear else {}
    except ValueError:  # that is reported by itself
        return gear
    programs = programs_by_label(labels, 0 if gear.get("programs_from") == 0 else 1)
    found = {}
    for name, sound in sounds.items():
        found[name] = sound
        label = sound.get("printed") if isinstance(sound, dict) else None
        if not isinstance(label, str) or "program" in sound:
            continue
        if label in programs:
            found[name] = {**sound, "program": programs[label]}
        else:
            text = no_such("label", label, programs) if programs else _NO_LABELS
            complaints.append(Complaint((*keys, "sounds", name, "printed"), text))
    return {**gear, "sounds": found}


_NO_LABELS = 'give the instrument its labels, such as labels = "A11..B88", or the sound its program'
