"""`bayleaf explain`, as a user types it: verdicts, commands and errors."""

import json
from pathlib import Path

import pytest

from tests.support.bayleaf_command import Bayleaf
from tests.support.paths import PRESETS
from tests.support.plain_rig_2 import RIG_2

DEMO = PRESETS / "demo.toml"


def test_explain_tells_each_filters_verdict(bayleaf: Bayleaf) -> None:
    """`explain --json` names each line or route and its filters, and what each output gets, in hexadecimal."""
    said = bayleaf("explain", str(DEMO), "--scene", "12", "--input", "keys", "90", "3C", "40", "--json")
    assert said.status == 0
    found = json.loads(said.out)
    assert found["outputs"] == {"strings": [], "brass": ["90 3C 37"], "bass": [], "drums": []}
    stopped, passed = found["routes"]
    assert stopped["filters"] == [{"filter": "zone", "in": ["90 3C 40"], "out": []}]
    assert [one["filter"] for one in passed["filters"]] == ["zone", "strip", "velocity", "channels"]


def test_explain_in_words(bayleaf: Bayleaf) -> None:
    """Without --json the message and what comes out are described in words as well."""
    said = bayleaf("explain", str(DEMO), "--scene", "Street at night", "--input", "keys", "903C40")
    assert "channel 1 note on C4 velocity 64" in said.out
    assert "brass: 90 3C 37" in said.out


def test_a_parameter_is_explained_as_one(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """Its messages go through the filters in a row; the filter parameters takes them as a unit."""
    file = tmp_path / "old.toml"
    file.write_text(
        'format = 2\n[inputs]\nkeys = { port = "k" }\n[outputs]\nbox = { port = "b" }\n[instruments.old]\n'
        'output = "box"\nchannel = 1\n[[scenes]]\nnumber = 1\nname = "A"\nplay = [{ from = "keys", on = "old", '
        'through = [{ filter = "parameters", map = { "nrpn 1/8" = "controller 74" } }] }]\n'
        'routes = [{ from = "keys", to = "box", through = [{ filter = "channels", map = { 1 = 2 } }] }]\n'
    )
    said = bayleaf("explain", str(file), "--input", "keys", "B0 63 01", "B0 62 08", "B0 06 40")
    assert "from keys in scene 1 A: channel 1 NRPN 1/8 = 64" in said.out
    assert "parameters: B0 4A 40" in said.out
    assert "B1 63 01; B1 62 08; B1 06 40 (channel 2 NRPN 1/8 = 64)" in said.out
    assert "B0 4A 40 (channel 1 brightness 64)" in said.out


def test_a_clock_is_explained_with_the_clock_of_the_rig(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """An output that gets the rig's clock gets no routed one; from the input that is followed it comes in its time."""
    file, ask = tmp_path / "clocked.toml", ("explain", str(tmp_path / "clocked.toml"), "--input", "keys")
    rig = (
        'format = 2\n[inputs]\nkeys = { port = "k" }\n[outputs]\nbox = { port = "b" }\nloop = { port = "l" }\n'
        'free = { port = "f" }\n[[routes]]\nfrom = "keys"\nto = ["box", "free"]\n[[scenes]]\nnumber = 1\nname = "A"\n'
        '[sync.clock]\nto = ["box", "loop"]\n'
    )
    file.write_text(rig)
    said = bayleaf(*ask, "F8")
    assert "  box: nothing; the rig's clock goes there instead\n" in said.out
    assert "  free: F8 (clock)\n" in said.out
    assert "  box: 90 3C 40" in bayleaf(*ask, "90 3C 40").out
    file.write_text(rig + 'from = "keys"\ntransport = ["box"]\noffset = { box = "-4 ms" }\n')
    assert json.loads(bayleaf(*ask, "F8", "--json").out)["outputs"] == {
        "box": ["F8"],
        "loop": ["F8 after 4 ms"],
        "free": ["F8"],
    }
    assert json.loads(bayleaf(*ask, "FA", "--json").out)["outputs"] == {"box": ["FA"], "loop": [], "free": ["FA"]}


SONGS = """
[[songs]]
name = "Market"
transpose = 2
scenes = [12, 11]
"""


def test_explain_in_a_song(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """With --song its transposition counts, in its first scene unless another is given; an unknown one is answered
    with the nearest and the list."""
    rig = tmp_path / "songs.toml"
    rig.write_text(DEMO.read_text(encoding="utf-8") + SONGS, encoding="utf-8")
    asked = ("--input", "keys", "90", "48", "40")
    said = bayleaf("explain", rig, "--song", "Market", *asked)
    assert "in scene 12 Street at night of Market, transposed by +2:" in said.out
    assert "brass: 90 4A 37" in said.out
    found = json.loads(bayleaf("explain", rig, "--song", "Market", "--scene", "11", *asked, "--json").out)
    assert (found["scene"]["number"], found["song"], found["outputs"]["strings"]) == (11, "Market", ["94 4A 40"])
    assert bayleaf("explain", rig, "--song", "Market", "--picture", tmp_path / "a.svg").status == 0
    assert "transpose" in (tmp_path / "a.svg").read_text(encoding="utf-8")
    said = bayleaf("explain", rig, "--song", "Markt", *asked)
    assert (said.status, 'no song "Markt"; did you mean "Market"?' in said.err) == (1, True)
    assert bayleaf("explain", rig, "--song", "Market", "--after", "11").status == 2


TAKEN = """
format = 1
[inputs]
pedals = { port = "a" }
[outputs]
drums = { port = "b" }
[[routes]]
from = "pedals"
to = "drums"
[[controls]]
input = "pedals"
when = { program = "any" }
do = "scene"
[[controls]]
input = "pedals"
when = { controller = 80 }
do = "next"
pass = true
[[controls]]
input = "pedals"
when = { controller = 81 }
do = "back"
scenes = [2]
[remote]
inputs = "pedals"
device = 5
[[scenes]]
number = 1
name = "One"
[[scenes]]
number = 2
name = "Two"
"""


@pytest.mark.parametrize(
    ("scene", "message", "taken"),
    [
        ("1", "C0 0B", "a control"),
        ("1", "B0 50 00", None),  # pass = true
        ("1", "B0 51 7F", None),  # a control of scene 2
        ("2", "B0 51 7F", "a control"),
        ("1", "F0 7F 05 02 01 01 31 F7", "[remote]"),
        ("1", "F0 7F 06 02 01 01 31 F7", None),  # for another device
    ],
)
def test_explain_knows_who_takes_a_message(
    bayleaf: Bayleaf, tmp_path: Path, scene: str, message: str, taken: str | None
) -> None:
    """A message that a control or the remote consumes reaches no output: `explain` says so, and outputs get nothing."""
    rig = tmp_path / "rig.toml"
    rig.write_text(TAKEN)
    asked = "explain", str(rig), "--scene", scene, "--input", "pedals", message
    found = json.loads(bayleaf(*asked, "--json").out)
    by = found["command"]["by"] if found["command"] and not found["command"]["routed"] else None
    assert (by, found["outputs"]["drums"]) == (taken, [] if taken else [message])
    assert ("takes it; it is not routed" in bayleaf(*asked).out) == bool(taken)
    assert bayleaf(*asked, "--picture", str(tmp_path / "way.svg")).status == 0
    assert ("line silent" in (tmp_path / "way.svg").read_text(encoding="utf-8")) == bool(taken)


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("--scene", "99", "--input", "keys", "90", "3C", "40"), "there is no scene 99"),
        (("--input", "nobody", "90", "3C", "40"), 'there is no input "nobody"'),
        (("--input", "keys", "90", "3C"), "one whole MIDI message"),
        (("--input", "keys", "hello"), "one whole MIDI message"),
        (
            ("--scene", "finlae", "--input", "keys", "F8"),
            'did you mean "Finale"? it has 11 Overture, 12 Street at night',
        ),
    ],
)
def test_explain_says_what_is_wrong(bayleaf: Bayleaf, arguments: tuple[str, ...], expected: str) -> None:
    """A wrong scene, input or message gives one sentence and status 1."""
    said = bayleaf("explain", str(DEMO), *arguments)
    assert said.status == 1
    assert expected in said.err


def test_explain_says_what_is_commanded(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A message that a control consumes goes no further, as in the show, and `explain` names its command; one that the
    control passes on is explained like any other."""
    pedal = ("--input", "pedals", "C0", "0C")
    said = bayleaf("explain", str(DEMO), *pedal)
    assert "a control takes it; it is not routed: recall scene 13 Chase" in said.out
    assert "no route of this scene" not in said.out
    assert json.loads(bayleaf("explain", str(DEMO), *pedal, "--json").out)["command"] == {
        "by": "a control",
        "commands": ["recall scene 13 Chase"],
        "routed": False,
    }
    rig = tmp_path / "pit.toml"
    rig.write_text(DEMO.read_text().replace('from = "keys", on', 'from = "pedals", programs = true, on', 1))
    assert json.loads(bayleaf("explain", str(rig), *pedal, "--json").out)["routes"] == []
    rig.write_text(rig.read_text().replace('when  = { program = "any" }', 'when = { program = "any" }\npass = true'))
    found = json.loads(bayleaf("explain", str(rig), *pedal, "--json").out)
    assert found["command"]["routed"] is True
    assert found["outputs"]["strings"] == ["C4 0C"]


def test_half_a_question_is_a_usage_error(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A message without an input, or an input without a message, is a usage error, with or without a picture."""
    picture = ("--picture", str(tmp_path / "a.svg"))
    for half in (("90", "3C", "40"), ("--input", "keys")):
        assert bayleaf("explain", str(DEMO), *half).status == 2
        assert bayleaf("explain", str(DEMO), *half, *picture).status == 2
    assert not (tmp_path / "a.svg").exists()


def test_explain_shows_what_a_scene_change_sends(bayleaf: Bayleaf) -> None:
    """`explain --scene A --after B` shows the bytes of a change from B to A in their order, and which instruments are
    on their sounds already; there and back, a whole burst is sent only once."""
    said = bayleaf("explain", str(DEMO), "--scene", "12", "--after", "11", "--json")
    assert said.status == 0
    found = json.loads(said.out)
    assert (found["scene"]["number"], found["after"]["number"]) == (12, 11)
    checked = json.loads(bayleaf("check", str(DEMO), "--json").out)
    of_scene = {one["instrument"]: one["messages"] for one in checked["sounds"] if one["number"] == 12}
    sent = [message for output in found["outputs"].values() for message in output["sends"]]
    left_out = {one["instrument"] for output in found["outputs"].values() for one in output["left_out"]}
    needed = [message for name, each in of_scene.items() if name not in left_out for message in each.split(", ")]
    assert sorted(sent) == sorted(needed)
    assert left_out <= of_scene.keys()
    words = bayleaf("explain", str(DEMO), "--scene", "12", "--after", "11").out
    assert words.startswith("scene 12 ")
    assert all(message in words for message in sent)
    assert all(f"{name} is on " in words for name in left_out)


def test_a_scene_change_takes_no_message(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """With `--after` a message, an input or a picture is wrong usage; an unknown scene is named."""
    for more in (["90", "3C", "40"], ["--input", "keys"], ["--picture", str(tmp_path / "a.svg")]):
        assert bayleaf("explain", str(DEMO), "--after", "11", *more).status == 2
    said = bayleaf("explain", str(DEMO), "--after", "99")
    assert said.status == 1
    assert "there is no scene 99" in said.err


def test_explain_names_lines_chains_and_notes_as_the_gear_does(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A line is named, its filters are listed with those of input and instrument, and C3 may be note 60."""
    (tmp_path / "pit.toml").write_text(RIG_2)
    said = bayleaf("explain", str(tmp_path / "pit.toml"), "--scene", "14", "--input", "keys", "903B40")
    assert "90 3B 40 from keys in scene 11 Overture: channel 1 note on B2 velocity 64" in said.out
    assert "line 1 to bass: passes as 91 2D 5A" in said.out
    assert "brass to bass: passes as 92 3B" in said.out
    assert "bass-box: 91 2D 5A" in said.out
