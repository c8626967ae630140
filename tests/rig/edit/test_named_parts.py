"""Parts of a rig file renamed and removed with all that names them."""

import tomllib

import pytest

from engine.rig.edit.named_parts import remove_part, rename_part, users
from engine.rig.edit.toml_edits import EditError
from engine.rig.read.load import read
from tests.rig.edit.test_part_edits import RIG
from tests.support.players_rig import PLAYERS

MORE = (
    RIG
    + """
[[controls]]
input = "keys"
when = { controller = 80 }
do = ["next", { send = ["stop"], to = "bass" }]

[sync.clock]
to = ["bass"]
"""
)


@pytest.mark.parametrize(
    ("section", "name", "new"),
    [("inputs", "keys", "upper keys"), ("outputs", "bass", "low"), ("instruments", "bass-box", "bass box")],
)
def test_a_new_name_stands_everywhere(section: str, name: str, new: str) -> None:
    """The rig means the same, and the old name is in no place of it."""
    made = rename_part(MORE, section, name, new)
    assert users(read(made, "rig"), section, new) == users(read(MORE, "rig"), section, name)
    assert users(read(made, "rig"), section, name) == 0
    assert list(tomllib.loads(made)[section]) == [new]
    assert rename_part(made, section, new, name) == MORE


def test_a_set_list_is_renamed_by_its_key() -> None:
    """Songs and set lists have their names as a value."""
    assert [each["name"] for each in tomllib.loads(rename_part(RIG, "setlists", "Friday", "Monday"))["setlists"]] == [
        "Monday",
        "Saturday",
    ]


def test_a_name_that_is_taken_or_unknown_is_refused() -> None:
    """Nothing changes."""
    with pytest.raises(EditError, match="already a set list Saturday"):
        rename_part(RIG, "setlists", "Friday", "Saturday")
    with pytest.raises(EditError, match="there is no input"):
        rename_part(RIG, "inputs", "pads", "drums")


def test_what_is_nothing_without_it_goes_too() -> None:
    """With an output go its instruments, their lines, and what is sent there; a list only loses the name."""
    made = tomllib.loads(remove_part(MORE, "outputs", "bass"))
    assert "bass-box" not in made.get("instruments", {})
    assert made["scenes"][0]["play"] == []
    assert made["controls"][0]["do"] == ["next"]
    assert made["sync"]["clock"] == {}
    assert list(made["inputs"]) == ["keys"]


def test_a_player_of_two_leaves_the_line_to_the_other() -> None:
    """A line from two inputs stays when one of them goes."""
    two = RIG.replace("[outputs.bass]", 'pads = { port = "Pads*" }\n\n[outputs.bass]').replace(
        'from = "keys"', 'from = ["keys", "pads"]'
    )
    assert tomllib.loads(remove_part(two, "inputs", "keys"))["scenes"][0]["play"][0]["from"] == ["pads"]


def test_a_players_set_list_and_inputs_are_known() -> None:
    """A renamed set list stays the player's; without their last input, or their set list, nothing is left of them."""
    renamed = rename_part(PLAYERS, "setlists", "Anna, act 1", "Anna, act 2")
    assert [each.setlist for each in read(renamed, "rig").players] == ["Anna, act 2", "Ben, act 1"]
    assert [each.name for each in read(rename_part(PLAYERS, "players", "anna", "carl"), "rig").players] == [
        "carl",
        "ben",
    ]
    assert [each.inputs for each in read(remove_part(PLAYERS, "inputs", "anna-foot"), "rig").players] == [
        ("anna",),
        ("ben",),
    ]
    assert [each.name for each in read(remove_part(PLAYERS, "setlists", "Ben, act 1"), "rig").players] == ["anna"]
