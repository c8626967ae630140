"""Keys that came with a later format of the rig file. (Our own design; no source.)"""

from typing import Annotated, Any, Literal

import pytest
from pydantic import Field

from engine.rig.models.formats import Since, too_new
from engine.rig.models.values import Part
from engine.rig.read.load import RigError, read

SCENE = '[[scenes]]\nnumber = 1\nname = "One"\n'


class _Drawer(Part):
    old: int = 0
    new: Annotated[int | None, Since(2)] = None


class _Lamp(Part):
    kind: Literal["lamp"]
    new: Annotated[int, Since(3)] = 0


class _Clock(Part):
    kind: Annotated[Literal["clock"], Since(2)]
    new: int = 0


class _Desk(Part):
    drawers: tuple[_Drawer, ...] = ()
    lamp: Annotated[_Drawer | None, Since(3)] = None
    things: tuple[Annotated[_Lamp | _Clock, Field(discriminator="kind")], ...] = ()


@pytest.mark.parametrize(
    ("desk", "found"),
    [
        ({"format": 1, "drawers": [{"old": 1}, {"new": 1}]}, [(("drawers", 1, "new"), 2)]),
        ({"format": 2, "drawers": [{"new": 1}]}, []),
        ({"format": 2, "lamp": {"new": 1}}, [(("lamp",), 3)]),
        ({"format": 1, "lamp": {"new": 0}}, [(("lamp", "new"), 2), (("lamp",), 3)]),
        ({"format": "2", "lamp": {}}, []),
        ({"lamp": {}, "drawers": 5}, []),
        ({"format": 1, "things": [{"kind": "lamp", "new": 1}, 5]}, [(("things", 0, "new"), 3)]),
        ({"format": 1, "things": [{"kind": "clock", "new": 1}]}, [(("things", 0, "kind"), 2)]),
        ({"format": 2, "things": [{"kind": "clock", "new": 1}, {"kind": "lamp"}]}, []),
    ],
)
def test_a_key_that_is_newer_than_the_format(desk: dict[str, Any], found: list[object]) -> None:
    """Each key that the stated format does not have yet is found, with the format that it needs; of tables of several
    kinds, the keys of their own kind count."""
    new = [(keys, since.format) for keys, since in too_new(desk, _Desk)]
    assert sorted(new, key=str) == sorted(found, key=str)


def test_both_formats_are_read() -> None:
    """A rig of format 1 means the same in format 2; there is no format 3."""
    old, new = (read(f"format = {number}\n{SCENE}", "pit.toml") for number in (1, 2))
    assert old.model_copy(update={"format": 2}) == new
    with pytest.raises(RigError, match=r"pit\.toml:1: format: found 3; allowed: 1 or 2"):
        read(f"format = 3\n{SCENE}", "pit.toml")


def test_filters_and_settings_of_format_2_are_reported_at_their_lines() -> None:
    """In a rig of format 1 a newer filter, and a newer setting of an older one, need the newer format; a setting of the
    same name that another filter has had before does not."""
    routes = """[[routes]]
from = "keys"
to = "lead"
through = [
  { filter = "echo", fade = 20 },
  { filter = "zone", notes = [0, 60], fade = 4 },
  { filter = "sustain" },
]
"""
    rig = f'[inputs]\nkeys = {{ port = "a" }}\n[outputs]\nlead = {{ port = "b" }}\n{routes}{SCENE}'
    assert read(f"format = 2\n{rig}", "pit.toml").routes
    with pytest.raises(RigError) as caught:
        read(f"format = 1\n{rig}", "pit.toml")
    needed = "needs format = 2 in the first line of the file; it says 1"
    assert str(caught.value).splitlines() == [
        f"pit.toml:11: routes.1.through.2.fade: this key {needed}",
        f"pit.toml:12: routes.1.through.3.filter: this filter {needed}",
    ]
