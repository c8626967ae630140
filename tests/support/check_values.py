"""Check values: figures and bytes of the standards, with their source and how they were verified, in tests/reference.

Each file there is one area, each row one value under its id. `tests/test_check_values.py` sees to it that each is used.
"""

import json
from functools import cache
from typing import Any, Final, NamedTuple

from tests.support.paths import ROOT

FOLDER: Final = ROOT / "tests" / "reference"


class CheckValue(NamedTuple):
    """One value. `verified_by` says who read or computed it, or that it is from memory; `area` is its file's name."""

    id: str
    area: str
    statement: str
    input: Any
    expected: Any
    source: str
    verified_by: str


@cache
def all_check_values() -> dict[str, CheckValue]:
    """Every value by its id, area by area. Raises ValueError if two have the same id."""
    found: dict[str, CheckValue] = {}
    for file in sorted(FOLDER.glob("*.json")):
        for name, row in json.loads(file.read_text(encoding="utf-8")).items():
            if name in found:
                raise ValueError(f"{file.name}: {name} is in {found[name].area}.json, too")
            found[name] = CheckValue(id=name, area=file.stem, **row)
    return found


def check_value(name: str) -> CheckValue:
    """The value with this id."""
    return all_check_values()[name]


def check_values(beginning: str, given: str = "") -> list[CheckValue]:
    """All values whose id begins like this, at least one; with `given`, those whose input has such a key."""
    found = [value for name, value in all_check_values().items() if name.startswith(beginning)]
    if given:
        found = [value for value in found if isinstance(value.input, dict) and given in value.input]
    assert found, beginning
    return found
