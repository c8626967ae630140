"""Scenes as memories, and saving, by commands to a running engine. (Our own design; no outside source.)"""

import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.engine_in_memory import EngineInMemory
from tests.support.replaced_file import replace_file

pytestmark = pytest.mark.slow

RIG = """\
# Lantern Street, the pit
format = 1
[rig]
start = "Overture"   # the first
[inputs]
keys = { port = "Stage piano" }
pedals = { port = "Foot controller" }
[outputs]
strings = { port = "Box 1" }
drums = { port = "Box 2" }
[instruments.string-machine]
output = "strings"
channel = 5
sounds = { "Warm pad" = { program = 3 } }

# what opens
[[scenes]]
number = 11
name = "Overture"   # loud
routes = [ { from = "keys", to = "strings" } ]
burst = [ { instrument = "string-machine", sound = "Warm pad" }, { output = "drums", channel = 10 } ]

[[scenes]]
number = 12
name = "Finale"
routes = [ { from = "keys", to = "drums" } ]

[[setlists]]
name = "Friday"
scenes = [11, "Finale", 12]   # Finale twice

[[controls]]
input = "pedals"
when = { note = 3 }
do = "scene"
scene = 12
"""


def done(desk: EngineInMemory, *arguments: str) -> str:
    """The output of a command that must succeed."""
    said = desk.bayleaf(*arguments)
    assert (said.returncode, said.stderr) == (0, "")
    return said.stdout


def refused(desk: EngineInMemory, *arguments: str) -> str:
    """The error of a command that must fail."""
    said = desk.bayleaf(*arguments)
    assert (said.returncode, said.stdout) == (1, "")
    return said.stderr


@pytest.fixture
def desk() -> Iterator[EngineInMemory]:
    """An engine that plays the rig above, in a folder with a short path: a socket's path may have at most 107 bytes."""
    with tempfile.TemporaryDirectory(prefix="bl") as folder:
        made = EngineInMemory(Path(folder))
        try:
            made.start(RIG)
            yield made
        finally:
            made.process.kill()
            made.process.wait()


def scenes(desk: EngineInMemory) -> list[tuple[int, str]]:
    return [(each["number"], each["name"]) for each in json.loads(done(desk, "scenes", "list", "--json"))]


def test_an_evening_of_edits(desk: EngineInMemory) -> None:
    """Copy, rename, renumber, move, store, undo, redo and delete act at once and say so; save keeps it all."""
    waits = "; not saved yet (bayleaf save)\n"
    assert done(desk, "scenes", "copy", "11", "21", "--as", "Reprise") == f"scene 11 copied to 21{waits}"
    assert (
        done(desk, "scenes", "rename", "12", "Last dance")
        == f'scene 12 renamed to "Last dance", also in set list Friday{waits}'
    )
    assert (
        done(desk, "scenes", "renumber", "12", "13")
        == f"scene 12 renumbered to 13, also in set list Friday and control 1{waits}"
    )
    assert done(desk, "scenes", "move", "13", "--before", "11") == f"scene 13 moved before 11{waits}"
    stored = "scene 40 Here stored: 1 route, 1 sound"
    assert done(desk, "scenes", "store", "40", "--as", "Here") == stored + waits
    assert done(desk, "scenes", "undo") == f"undone: {stored}{waits}"
    assert done(desk, "scenes", "redo") == f"redone: {stored}{waits}"
    assert done(desk, "scenes", "delete", "21") == f"scene 21 deleted{waits}"
    assert scenes(desk) == [(13, "Last dance"), (11, "Overture"), (40, "Here")]
    assert desk.file.read_text() == RIG
    said = done(desk, "save")
    assert "and read back: it holds the current rig. Changes:\n" in said
    assert "scene 12: name" not in said
    assert "scene 12 Finale is gone" in said
    assert "scene 13 Last dance is new" in said
    text = desk.file.read_text()
    assert 'scenes = [11, "Last dance", 13]   # Finale twice' in text
    assert "scene = 13\n" in text
    for comment in ("# Lantern Street, the pit\n", "# the first", "# what opens\n[[scenes]]\nnumber = 11", "# loud"):
        assert comment in text
    assert done(desk, "scene", "40").startswith("scene 40 Here")
    assert "1 saved version" in done(desk, "save", "--history")
    assert "read back: it holds the current rig" in done(desk, "save", "--undo")
    assert desk.file.read_text() == RIG
    assert json.loads(done(desk, "save", "--history", "--json"))["versions"][0]["number"] == 2


def test_what_cannot_be_done_is_said_with_status_1(desk: EngineInMemory) -> None:
    """Each refusal is one sentence that names the scene and the conflicting line; nothing changes."""
    assert refused(desk, "scenes", "delete", "11") == "scene 11 is used by start in line 4; change that line first\n"
    assert refused(desk, "scenes", "delete", "12").startswith("scene 12 is used by control 1 in line 36; change")
    assert refused(desk, "scenes", "copy", "77", "1") == "there is no scene 77; there are: 11, 12\n"
    assert refused(desk, "scenes", "copy", "11", "12").startswith("scene 12 Finale already has the number 12")
    assert "has the name" in refused(desk, "scenes", "rename", "11", "Finale")
    assert "a scene needs a name" in refused(desk, "scenes", "rename", "11", "")
    assert "scene numbers run from 1 to 16384" in refused(desk, "scenes", "renumber", "11", "0")
    assert "cannot be moved before itself" in refused(desk, "scenes", "move", "11", "--before", "11")
    assert refused(desk, "scenes", "undo") == "there is no edit to undo\n"
    assert refused(desk, "scenes", "redo") == "there is no undone edit to redo\n"
    assert scenes(desk) == [(11, "Overture"), (12, "Finale")]
    assert desk.bayleaf("save", "--undo", "--diff").returncode == 2


@pytest.mark.parametrize("choice", ["--playing", "--file"])
def test_a_file_edited_meanwhile_waits_for_a_choice(desk: EngineInMemory, choice: str) -> None:
    """`save` shows both sides with status 1 until one is chosen; the other one is kept as a version."""
    done(desk, "scenes", "rename", "12", "Last dance")
    theirs = RIG.replace("Overture", "Prelude")
    replace_file(desk.file, theirs)
    said = refused(desk, "save")
    assert '-name = "Prelude"   # loud\n+name = "Overture"   # loud' in said
    words = " ".join(said.split())  # a long path breaks lines elsewhere
    assert "bayleaf save --playing" in words
    assert "bayleaf save --file" in words
    assert desk.file.read_text() == theirs
    done(desk, "save", choice)
    mine = RIG.replace('"Finale"', '"Last dance"')
    assert desk.file.read_text() == (mine if choice == "--playing" else theirs)
    assert scenes(desk)[0][1] == ("Overture" if choice == "--playing" else "Prelude")
    done(desk, "save", "--undo")
    assert desk.file.read_text() == (theirs if choice == "--playing" else mine)


def test_two_scenes_in_words(desk: EngineInMemory) -> None:
    """`bayleaf diff` says what differs, or that nothing does, or which scenes exist."""
    assert done(desk, "diff", "rig.toml", "11", "12").splitlines() == [
        "name: Overture in 11, Finale in 12",
        "only in 11: route keys to strings",
        "only in 12: route keys to drums",
        'only in 11: burst step string-machine: sound "Warm pad"',
        "only in 11: burst step drums channel 10: blank",
    ]
    assert done(desk, "diff", "rig.toml", "Finale", "12") == "scenes 12 and 12 do the same\n"
    assert (
        refused(desk, "diff", "rig.toml", "11", "99")
        == "there is no scene 99 in rig.toml; it has 11 Overture, 12 Finale\n"
    )


def test_live_edits_that_nobody_saved_can_be_had_back(desk: EngineInMemory) -> None:
    """An engine stopped with unsaved edits keeps them as a version that can be played."""
    done(desk, "scenes", "rename", "12", "Last dance")
    desk.process.terminate()
    desk.process.wait(timeout=60)
    assert desk.file.read_text() == RIG
    desk.start(RIG)
    assert scenes(desk)[1][1] == "Finale"
    assert '+name = "Finale"' in done(desk, "save", "--diff", "--version", "1")
    done(desk, "save", "--undo", "--version", "1")
    assert desk.file.read_text() == RIG.replace('"Finale"', '"Last dance"')
    assert "there is no version 77" in refused(desk, "save", "--undo", "--version", "77")
    assert desk.bayleaf("save", "--version", "1").returncode == 2
