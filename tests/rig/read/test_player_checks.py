"""What `check` says about players with scenes of their own."""

import pytest

from engine.rig.read.load import RigError, read
from tests.support.players_rig import PLAYERS


def complaints(text: str) -> list[str]:
    """The mistakes in this rig, without the names of the file and the lines."""
    try:
        read(text, "pit.toml")
    except RigError as fault:
        return [each.split(": ", 1)[1] for each in str(fault).splitlines()]
    return []


def test_the_rig_of_the_tests_is_in_order() -> None:
    assert complaints(PLAYERS) == []


@pytest.mark.parametrize(
    ("now", "then", "said"),
    [
        (
            'inputs = ["ben"]',
            'inputs = ["ben", "anna"]',
            'players.2.inputs.2: "anna" is an input of anna already; an input is one player\'s',
        ),
        ('name = "ben"', 'name = "anna"', 'players.2.name: a second player named "anna"; give it another name'),
        (
            'name = "ben"',
            'name = "ben k"',
            'players.2.name: found "ben k"; allowed: a name in ASCII without blanks and without any of '
            '# * , / ? [ ] { }, such as "anna"',
        ),
        (
            'inputs = ["ben"]',
            'inputs = ["bens"]',
            'players.2.inputs.1: there is no input "bens"; did you mean "ben"? there are: keys, anna, anna-foot, ben',
        ),
        (
            'setlist = "Ben, act 1"',
            'setlist = "Ben, act 2"',
            'players.2.setlist: there is no set list "Ben, act 2"; did you mean "Ben, act 1"? there are: '
            "Anna, act 1, Pit, Ben, act 1",
        ),
        (
            'setlist = "Ben, act 1"',
            'setlist = "Pit"',
            "players.2.setlist: scene 1 of this set list plays inputs of no player; leave it out there",
        ),
        (
            '{ from = "ben", on = "brass" }',
            '{ from = "ben", on = "brass" }, { from = "keys", on = "bass" }',
            'scenes.6: this scene plays "keys" of no player and "ben" of ben; a scene plays the inputs of one player '
            "only: make two of it",
        ),
        (
            '[{ from = "ben", on = "brass" }]',
            '[{ from = ["ben", "anna"], on = "brass" }]',
            'scenes.6: this scene plays "anna" of anna and "ben" of ben; a scene plays the inputs of one player only: '
            "make two of it",
        ),
        (
            'name = "Unison"',
            'name = "Unison"\nlike = 21',
            'scenes.6: this scene plays "anna" of anna and "ben" of ben; a scene plays the inputs of one player only: '
            "make two of it",
        ),
        (
            'name = "Pit"\nscenes = [1, 2]',
            'name = "Pit"\nscenes = [1, "Lament"]',
            'setlists.2: scene 1 plays inputs of no player and scene "Lament" inputs of anna; make one list for each',
        ),
        (
            "[inputs]",
            "[rig]\nstart = 21\n[inputs]",
            "rig.start: scene 21 plays inputs of anna, who starts by the set list; name another",
        ),
        ("format = 2", "format = 1", "this key needs format = 2 in the first line of the file; it says 1"),
    ],
)
def test_a_mistake_is_named_with_its_remedy(now: str, then: str, said: str) -> None:
    found = complaints(PLAYERS.replace(now, then, 1))
    assert any(said in each for each in found), found


def test_what_a_scene_takes_away_it_does_not_play() -> None:
    """A scene may be like one of another player if it takes that player's lines away."""
    text = PLAYERS.replace(
        'play = [{ from = "anna", on = "brass", sound = "Open" }]',
        'play = [{ name = "top", from = "anna", on = "brass", sound = "Open" }]',
    )
    text = text.replace(
        'name = "Unison"\nplay = [', 'name = "Unison"\nlike = 21\nplay = [{ name = "top", off = true }, '
    )
    assert complaints(text) == []


def test_a_page_turn_pedal_may_be_a_players() -> None:
    text = PLAYERS.replace("[outputs]", 'turner = { keyboard = "Page turner*" }\n\n[outputs]')
    assert complaints(text.replace('"anna-foot"]', '"anna-foot", "turner"]')) == []
