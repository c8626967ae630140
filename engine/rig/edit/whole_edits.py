"""The frame around every edit of a rig's text: it keeps the way the text is written, and reads what it makes again."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from engine.rig.edit.toml_edits import EditError
from engine.rig.models.rig import SCENE_NUMBERS
from engine.rig.read.load import RigError, read
from engine.rig.read.raw_data import tables
from engine.rig.read.toml_errors import TomlError
from engine.rig.read.toml_text import parsed

#: what is wrong when an edit makes one of these keys invalid; a name or number already in use is found before
_WRONG_KEYS: Final = {
    re.compile(r"scenes\.[0-9]+\.number"): f"scene numbers run from {SCENE_NUMBERS[0]} to {SCENE_NUMBERS[1]}",
    re.compile(r"scenes\.[0-9]+\.name"): "a scene needs a name, on one line",
}


class InvalidRig(EditError):
    """An edit would make the rig invalid; `problems` are in the order of the file."""

    def __init__(self, refusal: RigError, made: str) -> None:
        """`made`: the text that the edit would leave."""
        self.problems = refusal.problems
        keys = [problem.key for problem in refusal.problems]
        plain = [words for key in keys for pattern, words in _WRONG_KEYS.items() if pattern.fullmatch(key)]
        numbers = _scene_numbers(made)
        wrong = "; ".join(
            f"{problem.key}{_of_scene(problem.key, numbers)}: {problem.text}".removeprefix(": ")
            for problem in refusal.problems
        )
        both = "; ".join(dict.fromkeys(plain))
        super().__init__(both if len(plain) == len(keys) else f"the rig would no longer be valid: {wrong}")


def _scene_numbers(text: str) -> dict[str, Any]:
    """By the beginning of a key, which counts the scenes of the file, the number of the scene."""
    try:
        found = tables(parsed(text), "scenes")
    except TomlError:
        return {}
    return {f"scenes.{place + 1}": scene.get("number") for place, scene in found}


def _of_scene(key: str, numbers: dict[str, Any]) -> str:
    number = numbers.get(".".join(key.split(".")[:2]))
    return f" (scene {number})" if number is not None else ""


def edited(text: str, folder: Path, change: Callable[[str], str]) -> str:
    """What `change` makes of a text, with its BOM and its kind of line ends. Raises EditError, InvalidRig."""
    bom = "\ufeff" if text.startswith("\ufeff") else ""
    plain = text.removeprefix(bom)
    windows = "\n" in plain and plain.count("\n") == plain.count("\r\n")
    plain = plain.replace("\r\n", "\n") if windows else plain
    try:
        read(plain, "rig", lists=False, folder=folder)
    except RigError as refusal:
        raise EditError(f"the rig is not valid: {refusal}") from None
    made = change(plain)
    try:
        read(made, "edited rig", lists=False, folder=folder)
    except RigError as refusal:
        raise InvalidRig(refusal, made) from None
    return bom + (made.replace("\n", "\r\n") if windows else made)
