"""Show control in a rig: what each command of the standard does to scenes, clock and time code.

Source: MIDI Show Control 1.1.1, RP-002/RP-014, by the values in tests/reference/msc.json.
"""

import pytest

from engine.core.commands import ChooseSetlist, FollowShow, NextScene
from engine.core.engine import Engine
from engine.midi.show_control import ShowControl
from engine.rig.read.load import read
from tests.support.check_values import check_value
from tests.support.engine_calls import adopt, engine_of, recall
from tests.support.pit_engine import MS, PORTS, engine, hexed, run_dry
from tests.support.remote_writing import show_control

US, FOOT, PADS = 5, 2, 1
RIG = """
[[routes]]
from = "pads"
to = "brass"
[[scenes]]
number = 1
name = "Overture"
[[scenes]]
number = 21
name = "Market"
[[scenes]]
number = 61
name = "Finale"
[[setlists]]
name = "Friday"
scenes = [1, 21]
[[setlists]]
name = "Saturday"
scenes = [61, 1]
[sync.clock]
from = "internal"
to = ["brass"]
[sync.timecode]
from = "internal"
to = ["brass"]
[remote]
inputs = ["pads", "foot"]
device = 5
"""
CODES = {name: code for code, name in check_value("msc-commands").expected.items()}


def show(rig: str = RIG) -> Engine:
    """The rig above in scene 1."""
    made = engine(rig)
    recall(made, 0, 1)
    run_dry(made, 0)
    return made


def desk(made: Engine, command: str, cue: str | None = None, cue_list: str | None = None) -> tuple[bool, str]:
    """What the player reads about a command of a lighting desk: whether it was done, and the sentences."""
    made.receive(MS, FOOT, show_control(ShowControl(US, 0x01, command, cue, cue_list)))
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    assert all(each.source == "foot" for each in outcomes)
    return all(each.done for each in outcomes), "; ".join(each.text for each in outcomes)


EFFECTS = [
    ("GO", "32 31", "scene 21 Market"),
    ("GO", "", "scene 21 Market"),
    ("STOP", "", "the clock is already stopped; nothing changed"),
    ("STOP", "32 31", "cue 21 is not playing; nothing changed"),
    ("RESUME", "", "clock running, 120 bpm; time code running from 00:00:00:00"),
    ("TIMED_GO", "00 00 05 00 00 32 31", "scene 21 Market"),
    ("LOAD", "32 31", "scene 21 Market is loaded: it comes next"),
    ("GO_OFF", "31", "cue 1 cannot go off: a scene stays until another is recalled; nothing changed"),
    ("GO_OFF", "", "the cue cannot go off: a scene stays until another is recalled; nothing changed"),
    ("SET", "01 00 7F 7F", None),
    ("FIRE", "01", None),
    ("ALL_OFF", "", None),
    ("RESTORE", "", None),
    ("RESET", "", None),
]


@pytest.mark.parametrize(("name", "data", "said"), EFFECTS)
def test_every_command_of_the_standard(name: str, data: str, said: str | None) -> None:
    """Each of the standard's eleven commands, by its bytes, is carried out or refused in words, and goes no further;
    those for settings, macros and outputs of other gear pass like any SysEx (RP-002 4.3)."""
    made = show()
    message = bytes.fromhex(f"F0 7F 05 02 01 {CODES[name]} {data} F7")
    out = made.receive(MS, PADS, message)
    assert "; ".join(each.text for each in made.reports.outcomes).startswith(said or "")
    assert bool(made.reports.outcomes) == (said is not None)
    assert (message.hex(" ").upper() in hexed(out)) == (said is None)


def test_every_command_is_in_the_table_above() -> None:
    """The table above leaves out no command of the standard."""
    assert {name for name, _, _ in EFFECTS} == CODES.keys()


def test_cues_are_scenes() -> None:
    """GO 61 recalls scene 61, GO is next, and an unknown cue changes nothing."""
    made = show()
    assert desk(made, "go", "061") == (True, "scene 61 Finale")
    assert desk(made, "go", "1") == (True, "scene 1 Overture")
    assert desk(made, "go") == (True, "scene 21 Market")
    for command in ("go", "load", "stop", "resume"):
        for cue in ("61.5", "7", "9" * 50):
            assert desk(made, command, cue) == (False, f"there is no scene for cue {cue}; nothing changed")
    assert made.scene == (21, "Market")
    assert made.state.main.setlist.loaded is None


def test_cues_are_labels_first() -> None:
    """GO finds a scene by its `cue`, points and all, before one by its number; LOAD, STOP and RESUME likewise."""
    labelled = RIG.replace('name = "Market"', 'name = "Market"\ncue = "14.5"').replace(
        'name = "Finale"', 'name = "Finale"\ncue = "21"'
    )
    made = engine_of(read(PORTS.replace("format = 1", "format = 2").replace("WIRE", "fast") + labelled, "pit.toml"))
    assert desk(made, "go", "014.5") == (True, "scene 21 Market")
    assert desk(made, "resume", "14.5")[0]
    assert desk(made, "go", "21") == (True, "scene 61 Finale")
    assert desk(made, "go", "61") == (True, "scene 61 Finale")
    assert desk(made, "load", "14.5") == (True, "scene 21 Market is loaded: it comes next")
    assert desk(made, "go", "14.50") == (False, "there is no scene for cue 14.50; nothing changed")


def test_stop_and_resume() -> None:
    """STOP halts our own clock and time code, RESUME continues them; with a cue only while it plays (RP-002 4.3)."""
    made = show()
    clock, code = made.state.sync.clock, made.state.sync.code
    assert clock is not None
    assert code is not None
    for command, cue, running in (
        ("resume", None, True),
        ("stop", "61", True),
        ("stop", "1", False),
        ("resume", "61", False),
        ("resume", "1", True),
        ("stop", None, False),
    ):
        desk(made, command, cue)
        assert (clock.running, code.running) == (running, running), (command, cue)


def test_stop_without_anything_that_runs() -> None:
    """A rig without clock and time code says that STOP changed nothing."""
    made = show(RIG[: RIG.index("[sync.clock]")] + RIG[RIG.index("[remote]") :])
    assert desk(made, "stop") == (False, "this rig has no clock and no time code of its own")


# LOAD


def test_a_loaded_scene_comes_next() -> None:
    """After LOAD, GO without a cue and every other "next" recall the loaded scene, which may be anywhere in the set
    list or in none; after it the set list goes on from its place."""
    made = show()
    assert desk(made, "load", "61") == (True, "scene 61 Finale is loaded: it comes next")
    assert made.scene == (1, "Overture")
    assert desk(made, "go") == (True, "scene 61 Finale")
    assert desk(made, "go") == (True, "scene 21 Market")
    desk(made, "load", "1")
    assert made.apply(2 * MS, NextScene(), "shell").outcome.text == "scene 1 Overture"
    assert made.state.main.setlist.place == 0


def test_the_end_of_the_set_list_is_no_end_for_a_loaded_scene() -> None:
    """At the end of the set list a loaded scene still comes next."""
    made = show()
    recall(made, 0, 21)
    desk(made, "load", "61")
    assert desk(made, "go") == (True, "scene 61 Finale")


@pytest.mark.parametrize(("command", "cue"), [("go", "21"), ("go", "61"), ("go", "1")])
def test_a_recall_ends_what_was_loaded(command: str, cue: str) -> None:
    """Once a scene is recalled in any way, nothing is loaded any more."""
    made = show()
    desk(made, "load", "61")
    desk(made, command, cue)
    assert made.state.main.setlist.loaded is None


def test_a_loaded_scene_outlives_an_edit_that_keeps_it() -> None:
    """A scene stays loaded over an edit and another set list, but for an edit that removes it."""
    made = show()
    desk(made, "load", "61")
    adopt(made, 2 * MS, engine(RIG.replace("Market", "Harbour")).rig)
    made.apply(2 * MS, ChooseSetlist("Saturday"), "shell")
    assert made.state.main.setlist.beside(1) == 61
    without = RIG.replace('[[scenes]]\nnumber = 61\nname = "Finale"\n', "").replace("[61, 1]", "[21, 1]")
    adopt(made, 3 * MS, engine(without).rig)
    assert made.state.main.setlist.loaded is None


def test_an_engine_that_follows_has_it_loaded_too() -> None:
    """What is loaded at the engine in charge is loaded at the one that follows, and no longer when it is not."""
    made = show()
    made.apply(MS, FollowShow(made.state.main.position, (), 61))
    assert made.state.main.setlist.loaded == 61
    made.apply(MS, FollowShow(made.state.main.position, (), 999))
    assert made.state.main.setlist.loaded is None
