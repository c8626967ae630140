"""Keys that came with a later format of the rig file. (Our own design; no source.)"""

from typing import Annotated

import pytest

from engine.rig.models.formats import Since, too_new
from engine.rig.models.values import Part
from engine.rig.read.load import RigError, read

SCENE = '[[scenes]]\nnumber = 1\nname = "One"\n'


class _Drawer(Part):
    old: int = 0
    new: Annotated[int | None, Since(2)] = None


class _Desk(Part):
    drawers: tuple[_Drawer, ...] = ()
    lamp: Annotated[_Drawer | None, Since(3)] = None


@pytest.mark.parametrize(
    ("desk", "found"),
    [
        ({"format": 1, "drawers": [{"old": 1}, {"new": 1}]}, [(("drawers", 1, "new"), 2)]),
        ({"format": 2, "drawers": [{"new": 1}]}, []),
        ({"format": 2, "lamp": {"new": 1}}, [(("lamp",), 3)]),
        ({"format": 1, "lamp": {"new": 0}}, [(("lamp", "new"), 2), (("lamp",), 3)]),
        ({"format": "2", "lamp": {}}, []),
        ({"lamp": {}, "drawers": 5}, []),
    ],
)
def test_a_key_that_is_newer_than_the_format(desk: dict[str, object], found: list[object]) -> None:
    """Each key that the stated format does not have yet is found, with the format that it needs."""
    assert sorted(too_new(desk, _Desk), key=str) == sorted(found, key=str)


def test_both_formats_are_read() -> None:
    """A rig of format 1 means the same in format 2; there is no format 3."""
    old, new = (read(f"format = {number}\n{SCENE}", "pit.toml") for number in (1, 2))
    assert old.model_copy(update={"format": 2}) == new
    with pytest.raises(RigError, match=r"pit\.toml:1: format: found 3; allowed: 1 or 2"):
        read(f"format = 3\n{SCENE}", "pit.toml")
