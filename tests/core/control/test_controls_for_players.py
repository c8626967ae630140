"""Controls for players: a switch that several share acts for those whom it names, chosen by what each of them plays."""

import pytest

from engine.core.control.explain_command import commanded
from engine.offline.idle_controls import idle_controls
from engine.rig.edit.named_parts import remove_part, rename_part
from engine.rig.read.load import RigError, read
from tests.support.engine_calls import adopt
from tests.support.play_rig import heard
from tests.support.players_rig import PLAYERS, players_engine, recall_for, scenes_of

SECOND = 1_000_000_000


def control(number: int, do: str, *more: str, source: str = "keys") -> str:
    """A control for this controller in TOML."""
    return "\n".join(("", "[[controls]]", f'input = "{source}"', f"when = {{ controller = {number} }}", do, *more, ""))


SHARED = (
    PLAYERS
    + control(81, 'do = "next"', 'players = ["anna", "ben"]')
    + control(82, 'do = "next"', 'players = ["ben"]')
    + control(83, "do = { scene = 22 }", 'players = ["anna", "ben"]')
    + control(84, 'do = ["back", { send = ["volume 90"], on = "bass" }]', 'players = ["anna", "ben"]', "scenes = [22]")
    + control(84, 'do = "next"')
)


def test_a_shared_switch_acts_for_each_player_it_names() -> None:
    engine = players_engine(SHARED)
    heard(engine, "B0 51 7F")
    assert [each.text for each in engine.reports.outcomes] == ["anna: scene 22 Lament", "ben: scene 32 Unison"]
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 32}


def test_another_one_acts_for_one_player_alone() -> None:
    engine = players_engine(SHARED)
    heard(engine, "B0 52 7F")
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 32}


def test_what_is_one_players_own_is_asked_for_that_player_alone() -> None:
    """Nothing is refused for the other player, whose scene it cannot be."""
    engine = players_engine(SHARED)
    heard(engine, "B0 53 7F")
    assert [(each.done, each.text) for each in engine.reports.outcomes] == [(True, "anna: scene 22 Lament")]


def test_the_scene_of_each_player_decides_whether_it_is_for_them() -> None:
    """What it sends goes out once. While it is for nobody, the wider control for the same switch acts."""
    engine = players_engine(SHARED)
    heard(engine, "B0 54 7F")
    assert scenes_of(engine) == {"": 2, "anna": 21, "ben": 31}
    recall_for(engine, 22)
    heard(engine, "B0 54 00", now=2 * SECOND)
    assert heard(engine, "B0 54 7F", now=3 * SECOND).count("left: B0 07 5A") == 1
    assert scenes_of(engine) == {"": 2, "anna": 21, "ben": 31}


def test_a_press_is_for_those_who_play_so_when_it_counts() -> None:
    """A long press that Anna's scene gave a meaning has none when it is over, if she has gone on meanwhile."""
    text = PLAYERS + control(81, 'do = "next"', 'players = ["anna", "ben"]', "scenes = [21, 31]").replace(
        "controller = 81", 'controller = 81, press = "long"'
    )
    engine = players_engine(text)
    heard(engine, "B0 51 7F")
    recall_for(engine, 22, now=SECOND)
    engine.tick(2 * SECOND)
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 32}


def test_at_a_players_own_input_it_counts_for_that_player_only() -> None:
    """One for others never counts: the message plays on, and `check` says so."""
    own = control(81, 'do = "next"', 'players = ["anna"]', source="anna")
    others = control(82, 'do = "next"', 'players = ["ben"]', source="anna")
    engine = players_engine(PLAYERS + own + others)
    assert heard(engine, "B0 52 7F", "anna") == ["left: B1 52 7F"]
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}
    heard(engine, "B0 51 7F", "anna")
    assert scenes_of(engine) == {"": 1, "anna": 22, "ben": 31}
    found = [*idle_controls(engine.rig)]
    assert [(each.keys, str(each)) for each in found] == [
        (
            ("controls", 3, "players"),
            "the control at anna is for ben, but anna is an input of anna, so it never counts; leave out players, or "
            "name another input",
        )
    ]


def test_scenes_and_songs_of_others_are_found() -> None:
    """A control that they would choose never counts, and a light of them is never on; `check` says so."""
    song = '[[songs]]\nname = "Ballad"\nscenes = [31]\n'
    controls = control(81, 'do = "next"', "scenes = [1, 2]", source="anna")
    controls += control(82, 'do = "next"', "scenes = [21]")
    controls += control(83, 'do = "next"', 'songs = ["Ballad"]', 'players = ["anna"]')
    controls += control(84, 'do = "next"', "scenes = [2, 21]", 'players = ["anna", "ben"]')
    lights = "".join(
        f'[[tallies]]\nto = "left"\nwhen = {{ player = "anna", {what} }}\non = "B0 14 7F"\noff = "B0 14 00"\n'
        for what in ("scene = 22", "scene = 31", 'song = "Ballad"')
    )
    found = {each.keys: str(each) for each in idle_controls(read(PLAYERS + song + controls + lights, "pit.toml"))}
    assert [*found] == [
        ("controls", 2, "scenes"),
        ("controls", 3, "scenes"),
        ("controls", 4, "songs"),
        ("tallies", 1, "when"),
        ("tallies", 2, "when"),
    ]
    assert found["controls", 3, "scenes"] == (
        "the control at keys is for the rest of the rig, but its scenes are for anna, so it never counts; name scenes "
        "of the rest of the rig"
    )
    assert found["tallies", 1, "when"] == (
        "this light is for anna, but what it names is for ben, so it is never on; name what anna plays"
    )


def test_what_another_players_scene_makes_a_command_comes_to_rest() -> None:
    """The pedal of the shared keyboard sustained; by Anna's new scene it is a switch, whose release is not routed."""
    engine = players_engine(PLAYERS + control(64, 'do = "next"', 'players = ["anna"]', "scenes = [22]"))
    assert heard(engine, "B0 40 7F") == ["left: B0 40 7F"]
    out = recall_for(engine, 22, now=2 * SECOND).deliveries
    assert [(output, message.hex()) for output, message, _ in out] == [(0, "b04000"), (0, "c13b")]
    assert heard(engine, "B0 40 00", now=3 * SECOND) == []


def test_an_input_that_is_given_away_takes_its_controls_of_others_out_of_force() -> None:
    foot = control(81, 'do = "next"', 'players = ["anna"]', source="anna-foot")
    engine = players_engine(PLAYERS + foot)
    given = (PLAYERS + foot).replace(', "anna-foot"]', "]").replace('["ben"]', '["ben", "anna-foot"]')
    adopt(engine, SECOND, read(given, "pit.toml"))
    heard(engine, "B0 51 7F", "anna-foot", 2 * SECOND)
    assert scenes_of(engine) == {"": 1, "anna": 21, "ben": 31}


def test_it_is_explained_with_the_players() -> None:
    rig = read(SHARED, "pit.toml")
    lament = rig.scene(22)
    assert lament is not None
    found = commanded(rig, lament, "keys", bytes.fromhex("B0 54 7F"))
    assert found is not None
    words = "a control takes it; it is not routed: back, then send volume 90 to bass, for anna and ben"
    assert found.words == words


def test_players_are_renamed_and_removed_with_their_controls() -> None:
    renamed = read(rename_part(SHARED, "players", "ben", "carla"), "pit.toml")
    assert [each.players for each in renamed.controls[2:4]] == [("anna", "carla"), ("carla",)]
    without = read(remove_part(SHARED, "players", "ben"), "pit.toml")
    assert [each.players for each in without.controls[2:4]] == [("anna",), ("anna",)]
    assert len(without.controls) == len(renamed.controls) - 1


@pytest.mark.parametrize(
    ("players", "said"),
    [('["carl"]', 'there is no player "carl"; there are: anna, ben'), ("3", "a name, or a list of names")],
)
def test_wrong_players_are_named_at_their_line(players: str, said: str) -> None:
    text = PLAYERS + control(81, 'do = "next"', f"players = {players}")
    with pytest.raises(RigError) as fault:
        read(text, "pit.toml")
    line = text[: text.index(f"players = {players}")].count("\n") + 1
    assert f"pit.toml:{line}: controls.3.players" in str(fault.value)
    assert said in str(fault.value)


def test_they_need_format_2() -> None:
    text = 'format = 1\n[inputs]\nkeys = { port = "a" }\n[[scenes]]\nnumber = 1\nname = "One"\n'
    with pytest.raises(RigError, match="this key needs format = 2"):
        read(text + control(81, 'do = "next"', 'players = ["anna"]'), "pit.toml")
