"""Players with scenes of their own: each has a scene in force, a place in a set list and controls; the others' stay."""

import pytest

from engine.answer_codes import AnswerCode
from engine.core.command_result import Result
from engine.core.commands import (
    ChooseSetlist,
    FirstScene,
    FollowShow,
    NextScene,
    OutputThere,
    PreviousScene,
    RecallScene,
    Resend,
    ResumePosition,
    StackCommand,
    Transpose,
)
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import adopt
from tests.support.play_rig import heard
from tests.support.players_rig import PLAYERS, ask, players_engine, recall_for, scenes_of

SECOND = 1_000_000_000


def test_each_player_begins_with_the_first_scene_of_their_set_list() -> None:
    assert scenes_of(players_engine()) == {"": 1, "anna": 21, "ben": 31}


def test_a_recall_changes_one_player_alone() -> None:
    """The input of the player plays the new scene; all other inputs go on as before."""
    engine = players_engine()
    result = recall_for(engine, 22, "anna", SECOND)
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 31}
    assert (result.outcome.scene, result.outcome.text) == ((22, "Lament"), "anna: scene 22 Lament")
    assert heard(engine, "90 3C 40", "anna") == ["left: 91 48 40"]
    assert heard(engine, "90 3C 40", "keys") == ["left: 90 3C 40"]
    assert heard(engine, "90 3C 40", "ben") == ["right: 92 3C 40"]


def test_next_and_back_go_through_the_players_own_set_list() -> None:
    engine = players_engine()
    ask(engine, NextScene(player="anna"))
    ask(engine, NextScene())
    assert scenes_of(engine) == {"": 2, "anna": 22, "ben": 31}
    assert ask(engine, NextScene(player="anna")).outcome.text == "anna: already at the end of set list Anna, act 1"
    ask(engine, PreviousScene(player="anna"))
    assert scenes_of(engine) == {"": 2, "anna": 21, "ben": 31}


def test_the_controls_at_a_players_input_are_theirs() -> None:
    """The same pedal does the same at two inputs, each for whoever plays there."""
    engine = players_engine()
    heard(engine, "B0 50 7F", "anna-foot")
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 31}
    heard(engine, "B0 50 7F", "keys")
    assert scenes_of(engine) == {"": 2, "anna": 22, "ben": 31}


@pytest.mark.parametrize("scene", [22, "Lament", "22.5"])
def test_a_scene_of_a_player_is_recalled_for_them_whoever_asks(scene: int | str) -> None:
    """Show control, time code and the shell need not know whose scene it is."""
    engine = players_engine()
    recall_for(engine, scene)
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 31}


@pytest.mark.parametrize(
    ("command", "code", "text"),
    [
        (
            RecallScene(31, player="anna"),
            AnswerCode.NOT_POSSIBLE,
            "scene 31 plays inputs of ben, not of anna; nothing changed",
        ),
        (
            RecallScene(2, player="anna"),
            AnswerCode.NOT_POSSIBLE,
            "scene 2 plays inputs that are no player's, not of anna; nothing changed",
        ),
        (
            ChooseSetlist("Pit", player="ben"),
            AnswerCode.NOT_POSSIBLE,
            "set list Pit plays inputs that are no player's, not of ben; nothing changed",
        ),
        (
            NextScene(player="carl"),
            AnswerCode.UNKNOWN_PLAYER,
            'there is no player "carl"; there are: anna, ben; nothing changed',
        ),
    ],
)
def test_what_a_player_cannot_play_is_refused_in_words(command: StackCommand, code: AnswerCode, text: str) -> None:
    engine = players_engine()
    outcome = ask(engine, command).outcome
    assert (outcome.done, outcome.code, outcome.text) == (False, code, text)
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}


def test_a_player_may_have_several_set_lists() -> None:
    """The one that was chosen is played from its first entry on."""
    engine = players_engine(PLAYERS + '[[setlists]]\nname = "Anna, act 2"\nscenes = [22]\n')
    ask(engine, ChooseSetlist("Anna, act 2", player="anna"))
    ask(engine, FirstScene(player="anna"))
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 31}
    ask(engine, ChooseSetlist("Anna, act 1", player="anna"))
    ask(engine, FirstScene(player="anna"))
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}


def test_transposition_is_the_players_own() -> None:
    engine = players_engine()
    ask(engine, Transpose(1, player="anna"))
    assert heard(engine, "90 3C 40", "anna") == ["left: 91 3D 40"]
    assert heard(engine, "90 3C 40", "keys") == ["left: 90 3C 40"]


def test_a_note_that_a_player_holds_ends_where_it_began_whoever_recalls() -> None:
    engine = players_engine()
    heard(engine, "90 3C 40", "anna")
    recall_for(engine, 2, now=SECOND)
    recall_for(engine, 22, "anna", SECOND)
    assert heard(engine, "80 3C 40", "anna", 2 * SECOND) == ["left: 81 3C 40"]


def test_a_scene_that_cuts_ends_the_notes_of_its_player_alone() -> None:
    """Under a common pedal, too, the others' notes sound on."""
    engine = players_engine(PLAYERS.replace('cue = "22.5"', 'held = "cut"'))
    recall_for(engine, 32, "ben")
    heard(engine, "90 3C 40", "anna")
    heard(engine, "90 40 40", "ben")
    heard(engine, "90 40 40", "keys")
    out = recall_for(engine, 22, "anna", 2 * SECOND).deliveries
    assert [message.hex(" ") for _, message, _ in out if message[0] & 0xF0 == 0x80] == ["81 3c 40"]
    assert heard(engine, "80 40 40", "ben", 3 * SECOND) == ["left: 81 40 40"]


def test_a_scene_that_cuts_lifts_the_pedal_where_its_player_sounds() -> None:
    """What rings under the pedal ends; the new scene leads there as well, so the channel is then told the pedal again.
    Where nothing sounds the pedal stays down throughout."""
    engine = players_engine(PLAYERS.replace('cue = "22.5"', 'held = "cut"'))
    heard(engine, "B0 40 7F", "anna")
    heard(engine, "90 3C 40", "anna")
    heard(engine, "80 3C 40", "anna")
    out = recall_for(engine, 22, "anna", 2 * SECOND).deliveries + engine.tick(3 * SECOND)
    assert [message.hex(" ") for _, message, _ in out if message[:2] == b"\xb1\x40"] == ["b1 40 00", "b1 40 7f"]
    recall_for(engine, 21, "anna", 4 * SECOND)
    heard(engine, "B0 40 00", "anna", 5 * SECOND)
    heard(engine, "B0 40 7F", "anna", 5 * SECOND)
    out = recall_for(engine, 22, "anna", 6 * SECOND).deliveries + engine.tick(7 * SECOND)
    assert [message.hex(" ") for _, message, _ in out if message[0] == 0xB1] == []


def test_resend_without_a_name_is_for_all() -> None:
    engine = players_engine()
    everything = ask(engine, Resend(), SECOND)
    assert {(output, message.hex()) for output, message, _ in everything.deliveries} == {
        (0, "c020"),
        (0, "c13d"),
        (1, "c230"),
    }
    annas = ask(engine, Resend(player="anna"), 2 * SECOND)
    assert [(output, message.hex()) for output, message, _ in annas.deliveries] == [(0, "c13d")]


def test_one_players_recall_does_not_take_away_anothers_burst() -> None:
    """On a slow cable both bursts leave, though the second comes while the first waits."""
    engine = players_engine(PLAYERS.replace('port = "Box*1"', 'port = "Box*1", wire = "din"'))
    engine.receive(SECOND, 0, b"\xf0" + bytes(100) + b"\xf7")
    heard(engine, "90 3C 40", "keys", SECOND)
    out = [*recall_for(engine, 22, "anna", SECOND).deliveries, *recall_for(engine, 2, now=SECOND).deliveries]
    while (due := engine.due) is not None and due < 2 * SECOND:
        out += engine.tick(due)
    assert [message.hex() for _, message, _ in out if message[0] & 0xF0 == 0xC0] == ["c13b", "c023"]


def _on_a_slow_cable() -> Engine:
    """Both instruments of the left box are behind a SysEx that takes a while."""
    engine = players_engine(PLAYERS.replace('port = "Box*1"', 'port = "Box*1", wire = "din"'))
    engine.tick(SECOND)
    engine.receive(2 * SECOND, 0, b"\xf0" + bytes(100) + b"\xf7")
    heard(engine, "90 3C 40", "keys", 2 * SECOND)
    return engine


def _programs(engine: Engine, *results: Result) -> list[str]:
    """What leaves on the left until the cable is idle, after these."""
    out = [delivery for result in results for delivery in result.deliveries]
    while (due := engine.due) is not None and due < 4 * SECOND:
        out += engine.tick(due)
    return [message.hex() for output, message, _ in out if output == 0 and message[0] & 0xF0 == 0xC0]


def test_what_a_resend_for_all_sends_is_each_players_own() -> None:
    """While it waits, a player's recall replaces that player's part of it, and nothing of the others'."""
    engine = _on_a_slow_cable()
    sent = ask(engine, Resend(), 2 * SECOND), recall_for(engine, 22, "anna", 2 * SECOND)
    assert _programs(engine, *sent) == ["c020", "c13b"]


def test_a_second_resend_for_all_repeats_nothing_that_waits() -> None:
    engine = _on_a_slow_cable()
    sent = [ask(engine, Resend(player=player), 2 * SECOND) for player in ("", "anna", "")]
    assert _programs(engine, *sent) == ["c020", "c13d"]


def test_an_output_that_is_back_gets_every_players_sounds_and_each_may_replace_their_own() -> None:
    engine = players_engine(PLAYERS.replace('port = "Box*1"', 'port = "Box*1", wire = "din"'))
    engine.tick(SECOND)
    back = engine.apply(2 * SECOND, OutputThere("left"), "test")
    assert _programs(engine, back, recall_for(engine, 22, "anna", 2 * SECOND)) == ["c020", "c13b"]


def test_an_engine_that_follows_is_where_every_player_is() -> None:
    engine = players_engine()
    places = (("anna", ShowPosition(22, "Anna, act 1", 1, "", -1), 21), ("nobody", ShowPosition(1), None))
    engine.apply(0, FollowShow(ShowPosition(2, "Pit", 1), (), players=places))
    assert scenes_of(engine) == {"": 2, "anna": 22, "ben": 31}
    anna = engine.state.stacks["anna"]
    assert (anna.step, anna.setlist.place, anna.setlist.loaded) == (-1, 1, 21)


def test_a_player_goes_on_where_they_were() -> None:
    engine = players_engine()
    engine.apply(0, ResumePosition(ShowPosition(22, "Anna, act 1", 1), "anna"))
    ask(engine, PreviousScene(player="anna"))
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}


def test_where_all_set_lists_are_players_the_rest_has_the_scenes_that_are_nobodys() -> None:
    text = PLAYERS.replace('[[setlists]]\nname = "Pit"\nscenes = [1, 2]\n', "")
    engine = players_engine(text)
    ask(engine, NextScene())
    assert scenes_of(engine) == {"": 2, "anna": 21, "ben": 31}
    assert ask(engine, NextScene()).outcome.text == "already at the end of the scenes"


def test_the_rest_of_a_rig_may_have_no_scene_at_all() -> None:
    text = PLAYERS.replace('from = "keys"', 'from = "anna-foot"').replace(
        '"Pit"\nscenes = [1, 2]', '"Spare"\nscenes = [1]'
    )
    engine = players_engine(text)
    assert scenes_of(engine)[""] is None
    assert (
        ask(engine, FirstScene()).outcome.text == "there is no entry 1 in the scenes, which has none; nothing changed"
    )


def test_lights_and_displays_know_players() -> None:
    """A light of one player's scene is off while another plays a route of that name; a display shows whose it is."""
    more = """
[[tallies]]
to   = "right"
when = { player = "anna", scene = 22 }
on   = "B0 14 7F"
off  = "B0 14 00"

[[displays]]
to     = "right"
player = "anna"
show   = "F0 7D 01 {scene.name} {next.name:2} F7"
"""
    engine = players_engine(PLAYERS + more)
    engine.tick(SECOND)
    recall_for(engine, 22, "anna", 2 * SECOND)
    out = engine.tick(2 * SECOND)
    assert [message for _, message, _ in out] == [bytes.fromhex("B0147F"), b"\xf0\x7d\x01Lament  \xf7"]
    recall_for(engine, 2, now=3 * SECOND)
    assert engine.tick(3 * SECOND) == []


def test_a_scene_that_is_recalled_again_stays_though_another_player_has_transposed() -> None:
    """A scene that cuts cuts nothing when it is recalled again, transposed or not."""
    engine = players_engine(PLAYERS.replace('cue = "22.5"', 'held = "cut"'))
    recall_for(engine, 22, "anna")
    ask(engine, Transpose(1, player="anna"))
    heard(engine, "90 3C 40", "anna")
    ask(engine, Transpose(1, player="ben"))
    out = recall_for(engine, 22, "anna", SECOND).deliveries
    assert [message.hex() for _, message, _ in out] == ["c13b"]


def test_an_edit_of_one_players_scene_changes_nothing_for_the_others() -> None:
    engine = players_engine()
    heard(engine, "90 3C 40", "ben")
    adopt(engine, SECOND, read(PLAYERS.replace('sound = "Open"', 'sound = "Open", transpose = -12'), "pit.toml"))
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}
    assert heard(engine, "90 3C 40", "anna") == ["left: 91 30 40"]
    assert heard(engine, "90 40 40", "keys") == ["left: 90 40 40"]
    assert heard(engine, "80 3C 40", "ben") == ["right: 82 3C 40"]


def test_a_player_that_an_edit_adds_begins_their_set_list() -> None:
    """Until then their input played by the scenes of the rest of the rig."""
    end = PLAYERS.index('[[players]]\nname = "ben"'), PLAYERS.index("[[controls]]")
    engine = players_engine(PLAYERS[: end[0]] + PLAYERS[end[1] :])
    assert heard(engine, "90 3C 40", "ben") == []
    adopt(engine, SECOND, read(PLAYERS, "pit.toml"))
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}
    assert heard(engine, "90 40 40", "ben") == ["right: 92 40 40"]


def test_the_notes_of_a_player_that_an_edit_removes_end_with_their_keys() -> None:
    """The input is then one of the rest of the rig, whose scene does not play it."""
    end = PLAYERS.index('[[players]]\nname = "ben"'), PLAYERS.index("[[controls]]")
    engine = players_engine()
    heard(engine, "90 3C 40", "ben")
    adopt(engine, SECOND, read(PLAYERS[: end[0]] + PLAYERS[end[1] :], "pit.toml"))
    assert scenes_of(engine) == {"": 1, "anna": 21}
    assert heard(engine, "90 40 40", "ben") == []
    assert heard(engine, "80 3C 40", "ben", 2 * SECOND) == ["right: 82 3C 40"]
    recall_for(engine, 31, now=3 * SECOND)
    assert heard(engine, "90 40 40", "ben", 4 * SECOND) == ["right: 92 40 40"]
