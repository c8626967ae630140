"""Edits of any part of a rig file by its path. Source: the rig file of section 5 of the handbook, TOML 1.0."""

import tomllib
from typing import Any

import pytest

from engine.rig.edit.part_edits import move_part, put_values
from engine.rig.edit.toml_edits import EditError
from engine.rig.starter_rig import EMPTY

RIG = """\
format = 2

[rig]
name = "Pit"

[inputs]
keys = { port = "Stage piano*" }  # the one on the left

[outputs.bass]  # in the rack
port = "Bass*"

[instruments.bass-box]
output  = "bass"
channel = 2   # set on its front

[instruments.bass-box.sounds]
Upright = { program = 33 }  # the good one

# the opening
[[scenes]]
number = 1
name = "Overture"
play = [
  { from = "keys", on = "bass-box", sound = "Upright" },  # from bar 3
]

[[setlists]]
name = "Friday"
scenes = [1]

# for the matinee
[[setlists]]
name = "Saturday"
scenes = [1]
"""


def _put(text: str, *values: tuple[tuple[str | int, ...], Any]) -> str:
    return put_values(text, values)


def test_one_value_changes_one_line() -> None:
    """Whatever is not edited stays byte for byte, comments included."""
    made = _put(RIG, (("instruments", "bass-box", "channel"), 3), (("rig", "name"), "Pit band"))
    assert made == RIG.replace("channel = 2 ", "channel = 3 ").replace('name = "Pit"', 'name = "Pit band"')


def test_the_same_value_changes_nothing() -> None:
    """A value that is there already is left as it is written."""
    assert _put(RIG, (("instruments", "bass-box", "channel"), 2)) == RIG


def test_keys_come_and_go_in_each_kind_of_table() -> None:
    """In an inline table, in a [section], and in the last section of the file."""
    made = _put(
        RIG,
        (("inputs", "keys", "stop"), ["program"]),
        (("outputs", "bass", "wire"), "din"),
        (("instruments", "bass-box", "sounds", "Fretless bass"), {"program": 36}),
        (("instruments", "bass-box", "sounds", "Upright"), None),
        (("scenes", 0, "play", 0, "sound"), "Fretless bass"),
    )
    assert 'keys = { port = "Stage piano*", stop = ["program"] }  # the one on the left' in made
    assert 'port = "Bass*"\nwire = "din"' in made
    assert "Upright" not in made
    assert '"Fretless bass" = { program = 36 }' in made
    assert '{ from = "keys", on = "bass-box", sound = "Fretless bass" },  # from bar 3' in made


def test_an_entry_is_added_to_a_list() -> None:
    """At its end, on a line of its own, whether that is a list of a scene or of the whole rig."""
    line = {"from": "keys", "on": "bass-box", "notes": "C4.."}
    made = _put(RIG, (("scenes", 0, "play", 1), line))
    first = '  { from = "keys", on = "bass-box", sound = "Upright" },  # from bar 3\n'
    assert made == RIG.replace(first, first + '  { from = "keys", on = "bass-box", notes = "C4.." },\n')
    listed = RIG[: RIG.index("[[setlists]]")].replace(
        "format = 2\n", 'format = 2\nsetlists = [{ name = "A", scenes = [1] }]\n'
    )
    more = tomllib.loads(_put(listed, (("setlists", 1), {"name": "B", "scenes": [1]})))["setlists"]
    assert [one["name"] for one in more] == ["A", "B"]


def test_a_rig_is_made_from_nothing() -> None:
    """Sections are made where there are none, in the order of the handbook's rigs, before the scenes."""
    made = _put(
        EMPTY,
        (("inputs", "keys"), {"port": "Stage piano*"}),
        (("outputs", "bass"), {"port": "Bass*"}),
        (("instruments", "bass-box"), {"output": "bass", "channel": 2, "sounds": {"Upright": {"program": 33}}}),
        (("setlists", 0), {"name": "Friday", "scenes": [1]}),
        (("controls", 0), {"input": "keys", "when": {"controller": 80}, "do": "next"}),
        (("scenes", 0, "play"), [{"from": "keys", "on": "bass-box", "sound": "Upright"}]),
    )
    heads = [line for line in made.splitlines() if line.startswith("[")]
    assert heads == [
        *("[rig]", "[inputs]", "[outputs]", "[instruments.bass-box]", "[instruments.bass-box.sounds]"),
        *("[[scenes]]", "[[setlists]]", "[[controls]]"),
    ]
    assert tomllib.loads(made)["instruments"]["bass-box"]["sounds"] == {"Upright": {"program": 33}}


def test_a_table_goes_with_its_sections() -> None:
    """An instrument goes with the section of its sounds; what names it must go in the same step."""
    made = _put(RIG, (("scenes", 0, "play"), []), (("instruments", "bass-box"), None))
    assert "bass-box" not in made
    assert "# the opening\n[[scenes]]" in made


def test_what_the_rig_cannot_be_is_refused() -> None:
    """The words are those of the check."""
    with pytest.raises(EditError, match="channel"):
        _put(RIG, (("instruments", "bass-box", "channel"), 17))


def test_an_entry_moves_with_its_comment() -> None:
    """Whether the entries are [[sections]] or one list."""
    made = move_part(RIG, "setlists", 1, 0)
    assert made.index("# for the matinee") < made.index('name = "Saturday"') < made.index('name = "Friday"')
    listed = RIG[: RIG.index("[[setlists]]")].replace(
        "format = 2\n", 'format = 2\nsetlists = [{ name = "A", scenes = [1] }, { name = "B", scenes = [1] }]\n'
    )
    assert [one["name"] for one in tomllib.loads(move_part(listed, "setlists", 0, 1))["setlists"]] == ["B", "A"]
    with pytest.raises(EditError, match="2 entries"):
        move_part(RIG, "setlists", 0, 2)
