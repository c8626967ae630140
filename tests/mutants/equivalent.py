"""The mutants that no test can notice, each with its reason; they are kept in equivalent.toml.

A reason must stay true: one for a change that the source no longer allows, or for a mutant that was caught, is an
error.
"""

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from tests.mutants.mutators import Mutant

_FILE: Final = Path(__file__).with_suffix(".toml")

#: the file, the changed line without its indentation, what it becomes, and the function or class it is in
Key = tuple[str, str, str, str]


def key_of(mutant: Mutant) -> Key:
    """What a mutant is known by, here and from run to run: line numbers change too often."""
    return mutant.file, mutant.line, mutant.becomes, mutant.function


def reasons() -> dict[Key, str]:
    """All reasons. Raises ValueError for one without words, or given twice."""
    found: dict[Key, str] = {}
    for each in tomllib.loads(_FILE.read_text())["mutant"]:
        key = each["file"], each["line"], each["becomes"], each["function"]
        if key in found or not each["reason"].strip():
            raise ValueError(f"{_FILE.name}: one reason for {key}, in words")
        found[key] = each["reason"]
    return found


def outdated(all_mutants: Iterable[Mutant]) -> list[Key]:
    """The reasons for changes that cannot be made to the source as it is."""
    possible = {key_of(mutant) for mutant in all_mutants}
    return [key for key in reasons() if key not in possible]
