"""What is playing now, as the routes and the burst of a scene. (Our own design; no outside source.)"""

import pytest

from engine.core import scene_snapshot
from engine.core.commands import SendPreset
from engine.core.engine import Engine
from tests.support.engine_calls import apply, mute, recall
from tests.support.pit_engine import MS, engine, hexed, run_dry
from tests.support.play_rig import playing
from tests.support.play_rig import scene as toml_scene
from tests.support.players_rig import PLAYERS, players_engine, recall_for

SCENES = """
[[routes]]
name = "kit"
from = "pads"
to = "brass"
[[scenes]]
number = 1
name = "Overture"
routes = [
  { from = ["keys", "pads"], to = ["strings", "brass"], name = "wide", through = [
    { filter = "transpose", semitones = 12 },
  ] },
  { from = "foot", to = "strings", name = "pedal" },
]
burst = [
  { instrument = "lead", sound = "B" },
  { instrument = "second", bank = [9, 9], program = 4 },
  { output = "brass", channel = 10, bank = [1, 0], program = 88 },
  { output = "brass", channel = 11, program = 3 },
]
[[scenes]]
number = 2
name = "Plain"
"""


def router(scene: int = 1) -> Engine:
    made = engine(SCENES)
    recall(made, 0, scene)
    run_dry(made, 0)
    return made


def with_route(made: Engine, source: str, target: str, on: bool) -> list[scene_snapshot.Table] | None:
    """The routes of the scene in force, after a connection is made or removed."""
    lists = scene_snapshot.with_route(made, scene_snapshot.in_force(made), source, target, on)
    return None if lists is None else lists["routes"]


UP = [{"filter": "transpose", "semitones": 12}]
WIDE = {"from": ["keys", "pads"], "to": ["strings", "brass"], "name": "wide", "through": UP}
PEDAL = {"from": ["foot"], "to": ["strings"], "name": "pedal"}


def listed(tables: list[scene_snapshot.Table] | None) -> list[scene_snapshot.Table]:
    """Routes with every name as a list, since one name or a list means the same."""
    assert tables is not None
    return [
        {key: [value] if key in ("from", "to") and isinstance(value, str) else value for key, value in table.items()}
        for table in tables
    ]


def test_the_routes_that_play() -> None:
    """The snapshot has the routes of the scene in force, filters included; muted routes are left out."""
    made = router()
    assert listed(scene_snapshot.routes(made)) == [WIDE, PEDAL]
    mute(made, MS, "wide", True, "test")
    assert listed(scene_snapshot.routes(made)) == [PEDAL]
    assert scene_snapshot.routes(router(2)) == []
    assert scene_snapshot.routes(engine(SCENES)) == []


def test_the_sounds_that_play() -> None:
    """Each channel's last bank and program become a burst step, with the sound's name if the rig has one."""
    assert scene_snapshot.burst(router()) == [
        {"instrument": "lead", "sound": "B"},
        {"instrument": "second", "program": 4, "bank": [9, 9]},
        {"output": "brass", "channel": 10, "program": 88, "bank": [1, 0]},
        {"output": "brass", "channel": 11, "program": 3},
    ]


def test_sounds_that_a_player_chose() -> None:
    """A program sent by a player counts like one of a burst."""
    made = router()
    made.receive(MS, 2, b"\xb0\x00\x01")
    made.receive(MS, 2, b"\xb0\x20\x0b")
    made.receive(MS, 2, b"\xc0\x14")
    assert scene_snapshot.burst(made)[0] == {"instrument": "lead", "sound": "A"}


@pytest.mark.parametrize(
    ("selects", "bank"),
    [(["B9 00 07"], [7, 0]), (["B9 20 0B"], [0, 11]), (["B9 00 07", "B9 20 0B"], [7, 11]), ([], None)],
)
def test_half_a_bank_counts_as_zero_in_the_other_half(selects: list[str], bank: list[int] | None) -> None:
    """A player sends the MSB or the LSB alone, or no bank: the step has the bank that the instrument is on (MIDI 1.0
    p. 12)."""
    step = next(each for each in scene_snapshot.burst(played(*selects, "C9 05")) if each.get("channel") == 10)
    assert step == {"output": "brass", "channel": 10, "program": 6} | ({} if bank is None else {"bank": bank})


def played(*messages: str) -> Engine:
    """Scene 2, where the pads play the brass, after these messages."""
    made = router(2)
    for message in messages:
        made.receive(MS, 1, bytes.fromhex(message))
    return made


def test_the_sounds_of_instruments_by_name() -> None:
    """Each instrument that was sent a sound, with its name; None for a program that has none in the rig."""
    assert scene_snapshot.sounds(engine(SCENES)) == {}
    assert scene_snapshot.sounds(router()) == {"lead": "B", "second": None}


def test_blank_steps_keep_their_places() -> None:
    """A step without a sound stays where it is in the scene that is stored over, unless its channel has one now."""
    blank = SCENES + (
        '[[scenes]]\nnumber = 3\nname = "Blank"\nburst = [ { instrument = "second" }, '
        '{ output = "brass", channel = 12 }, { output = "brass", channel = 10, program = 1 } ]\n'
    )
    made = engine(blank)
    recall(made, 0, 3)
    run_dry(made, 0)
    over = made.rig.scene(3)
    assert [step.get("channel", step.get("instrument")) for step in scene_snapshot.burst(made, over)] == [
        "second",
        12,
        10,
    ]
    recall(made, MS, 1)
    run_dry(made, MS)
    now = [step.get("channel", step.get("instrument")) for step in scene_snapshot.burst(made, over)]
    assert now == ["lead", 12, "second", 10, 11]


def test_what_is_stored_sends_the_same_bytes() -> None:
    """A scene made of the current sounds sends the same messages as the scene they came from."""

    def text(step: scene_snapshot.Table) -> str:
        return "{ " + ", ".join(f"{key} = {value!r}" for key, value in step.items()) + " }"

    stored = ", ".join(text(step) for step in scene_snapshot.burst(router())).replace("'", '"')
    sent = []
    for scene in (1, 3):
        again = engine(SCENES + f"[[scenes]]\nnumber = 3\nname = 'Stored'\nburst = [{stored}]\n")
        out = recall(again, 0, scene)
        _, later = run_dry(again, 0)
        sent.append([hexed(out + later, output) for output in (0, 1)])
    assert sent[0] == sent[1]


# Connecting and disconnecting


def test_a_way_that_is_added() -> None:
    """A connection not yet in the scene becomes a route of its own, after the others."""
    assert listed(with_route(router(), "foot", "brass", True)) == [
        WIDE,
        PEDAL,
        {"from": ["foot"], "to": ["brass"]},
    ]
    assert with_route(router(2), "keys", "strings", True) == [{"from": "keys", "to": "strings"}]


def test_a_way_that_is_there() -> None:
    """A connection that exists already, in this scene or in all of them, is not added again."""
    assert with_route(router(), "keys", "brass", True) is None
    assert with_route(router(2), "pads", "brass", True) is None
    assert with_route(router(2), "foot", "brass", False) is None


def test_a_way_that_is_taken_out() -> None:
    """Removing one connection of a route with several inputs and outputs leaves the others their filters, and the name
    is used once."""
    found = listed(with_route(router(), "keys", "brass", False))
    assert found == [
        {**WIDE, "from": ["pads"]},
        {"from": ["keys"], "to": ["strings"], "through": UP},
        PEDAL,
    ]
    assert listed(with_route(router(), "foot", "strings", False)) == [WIDE]


def test_what_a_scene_cannot_change() -> None:
    """One scene cannot end a route of every scene, and a muted one cannot be connected: the reason is given."""
    made = router(2)
    with pytest.raises(ValueError, match="a route of every scene leads from pads to brass; mute it"):
        with_route(made, "pads", "brass", False)
    mute(made, MS, "kit", True, "test")
    with pytest.raises(ValueError, match="the route kit from pads to brass is muted; unmute it"):
        with_route(made, "pads", "brass", True)


# Format 2

LINES = toml_scene(
    1,
    "transpose = -2",
    'play = [{ name = "low", from = "keys", on = "bass", sound = "Upright", notes = "..B3" },'
    ' { from = "keys", on = "brass", sound = "Section", notes = "C4..", velocity = "20.." }]',
)


def test_lines_are_stored_with_the_present_sounds() -> None:
    """A sound that was changed since is the line's own; what is muted is left out; so is a step that a line says."""
    made = playing(LINES + toml_scene(2, "like = 1"))
    recall(made, 0, 2)
    apply(made, 1, SendPreset("left", (bytes.fromhex("C23B"),)))
    assert scene_snapshot.played(made) == {
        "play": [
            {"name": "low", "from": ["keys"], "on": "bass", "sound": "Upright", "notes": "..B3"},
            {"from": ["keys"], "on": "brass", "sound": "Muted", "notes": "C4..", "velocity": "20.."},
        ],
        "routes": [],
        "burst": [],
        "transpose": -2,
    }
    mute(made, 2, "low", True)
    played = scene_snapshot.played(made)
    assert [line["on"] for line in played["play"]] == ["brass"]
    assert played["burst"] == [{"instrument": "bass", "sound": "Upright"}]


def test_a_line_without_a_sound_is_stored_with_the_present_one() -> None:
    """The last program that its channel was sent is the line's sound, if the rig has a name for it."""
    made = playing(toml_scene(1, 'play = [{ from = "keys", on = "brass" }]'))
    apply(made, 1, SendPreset("left", (bytes.fromhex("C23B"),)))
    played = scene_snapshot.played(made)
    assert played["play"] == [{"from": ["keys"], "on": "brass", "sound": "Muted"}]
    assert played["burst"] == []


def test_a_sound_without_a_name_is_a_step() -> None:
    """The line says no sound then, for the step would be a second one."""
    made = playing(LINES)
    apply(made, 1, SendPreset("left", (bytes.fromhex("C20A"),)))
    played = scene_snapshot.played(made)
    assert "sound" not in played["play"][1]
    assert played["burst"] == [{"instrument": "brass", "program": 11}]


def test_a_sound_that_messages_choose_stays_with_its_line() -> None:
    """Nobody can hear from SysEx which sound it chose."""
    made = playing(toml_scene(1, 'play = [{ from = "keys", on = "bass", sound = "Fretless" }]'))
    played = scene_snapshot.played(made)
    assert (played["play"][0]["sound"], played["burst"]) == ("Fretless", [])


def test_a_line_connects_an_input_with_its_instruments_output() -> None:
    """It counts as connected; disconnecting takes the line away, or its input alone. What is inherited is refused, with
    the scene where it can be done."""
    made = playing(LINES + toml_scene(2, "like = 1"))
    recall(made, 0, 2)
    assert with_route(made, "keys", "left", True) is None
    assert with_route(made, "upper", "left", False) is None
    with pytest.raises(ValueError, match="disconnect them in scene 1, or mute the line or route here"):
        with_route(made, "keys", "left", False)
    assert with_route(made, "keys", "right", True) == [{"from": "keys", "to": "right"}]
    recall(made, 0, 1)
    in_force = scene_snapshot.in_force(made)
    assert scene_snapshot.with_route(made, in_force, "keys", "left", False) == {"routes": [], "play": []}
    both = 'play = [{ from = ["keys", "upper"], on = "brass" }, { from = "keys", on = "kit" }]'
    made = playing(toml_scene(1, both))
    lists = scene_snapshot.with_route(made, scene_snapshot.in_force(made), "keys", "left", False)
    assert lists == {"routes": [], "play": [{"from": ["upper"], "on": "brass"}, {"from": ["keys"], "on": "kit"}]}


# Players


def test_what_is_stored_is_the_players_own() -> None:
    """Their lines with the present sounds of their instruments, and no sound of anybody else's."""
    made = players_engine()
    recall_for(made, 22)
    assert scene_snapshot.played(made, player="anna") == {
        "play": [{"from": ["anna"], "on": "brass", "sound": "Muted", "transpose": 12}],
        "routes": [],
        "burst": [],
    }
    assert [line["sound"] for line in scene_snapshot.played(made)["play"]] == ["Upright"]
    assert scene_snapshot.played(made)["burst"] == []


def test_channels_that_no_players_scene_names_are_stored_by_the_rest() -> None:
    """A player's scene has them if its routes lead there."""
    made = players_engine()
    for output, message in (("left", "C9 01"), ("right", "C2 30"), ("right", "CA 02")):
        apply(made, 1, SendPreset(output, (bytes.fromhex(message),)))
    (left, right) = ({"output": "left", "channel": 10, "program": 2}, {"output": "right", "channel": 11, "program": 3})
    assert scene_snapshot.played(made)["burst"] == [left, right]
    assert scene_snapshot.played(made, player="ben")["burst"] == []
    routed = PLAYERS.replace('play = [{ from = "ben", on = "strings", sound = "Soft" }]', ROUTED)
    made = players_engine(routed)
    apply(made, 1, SendPreset("right", (bytes.fromhex("CA 02"),)))
    assert scene_snapshot.played(made, player="ben")["burst"] == [right]


ROUTED = 'routes = [{ from = "ben", to = "right" }]'
