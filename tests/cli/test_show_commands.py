"""The shell's commands for songs, set lists, mutes, transposition and panic, against an engine that plays."""

import json
from collections.abc import Iterator

import pytest

from tests.support.engine_in_memory import EngineInMemory

pytestmark = pytest.mark.slow

RIG = """
format = 2
[inputs]
keys = { port = "Stage piano" }
[outputs]
strings = { port = "Box 1" }
brass = { port = "Box 2" }
[instruments.violins]
output = "strings"
channel = 5
[instruments.horns]
output = "brass"
channel = 2
spare = [3]
[[scenes]]
number = 11
name = "Overture"
play = [ { from = "keys", on = "violins" }, { name = "horn line", group = "choir", from = "keys", on = "horns" } ]
[[scenes]]
number = 12
name = "Street at night"
like = 11
[[scenes]]
number = 13
name = "Chase"
like = 11
[[scenes]]
number = 14
name = "Finale"
like = 11
[[songs]]
name = "Market"
transpose = 2
scenes = [11, 12]
[[songs]]
name = "Harbour"
scenes = [13, 14]
[[setlists]]
name = "Friday"
songs = ["Market", "Harbour"]
[[setlists]]
name = "Saturday"
scenes = [14, 11]
"""


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[EngineInMemory]:
    made = EngineInMemory(tmp_path_factory.mktemp("show"))
    made.start(RIG)
    yield made
    made.process.terminate()
    made.process.wait(20)


def done(engine: EngineInMemory, *words: str) -> str:
    """What a command prints; it must succeed."""
    said = engine.bayleaf(*words)
    assert (said.returncode, said.stderr) == (0, ""), said
    return said.stdout


def refused(engine: EngineInMemory, *words: str) -> str:
    """What a command says on standard error; it must fail with status 1 and print nothing else."""
    said = engine.bayleaf(*words)
    assert (said.returncode, said.stdout) == (1, ""), said
    return said.stderr


def status(engine: EngineInMemory) -> dict[str, object]:
    found: dict[str, object] = json.loads(done(engine, "status", "--json"))
    return found


def test_songs_are_recalled_and_stepped_through(engine: EngineInMemory) -> None:
    """`song NAME` recalls its first scene, `next --song` and `back --song` step through the songs; an unknown song is
    answered with the nearest and the list, and the ends of the set list are no errors."""
    assert done(engine, "song", "Harbour").startswith("scene 13 Chase")
    assert done(engine, "next").startswith("scene 14 Finale")
    assert done(engine, "next", "--song").startswith("already in the last song of set list Friday")
    assert done(engine, "back", "--song").startswith("scene 13 Chase")
    assert done(engine, "back", "--song").startswith("scene 11 Overture")
    assert done(engine, "back", "--song").startswith("already in the first song of set list Friday")
    assert done(engine, "next", "--song").startswith("scene 13 Chase")
    assert refused(engine, "song", "Harbor") == (
        'there is no song "Harbor"; did you mean "Harbour"? there are: Market, Harbour; nothing changed\n'
    )
    assert json.loads(done(engine, "song", "Market", "--json"))["scene"] == [11, "Overture"]
    assert status(engine)["song"] == {"name": "Market", "transpose": 2}


def test_a_set_list_is_chosen_and_listed(engine: EngineInMemory) -> None:
    """`setlist NAME` takes another list, where the show goes on; `setlist` alone lists it; a misspelt one is answered
    with the nearest."""
    done(engine, "setlist", "Friday")
    done(engine, "scene", "11")
    assert "Saturday" in done(engine, "setlist", "Saturday")
    assert done(engine, "next").startswith("already at the end of set list Saturday")
    listed = [line.split() for line in done(engine, "setlist").splitlines()]
    assert ["2", "11", "Overture", "here"] in listed
    assert 'did you mean "Saturday"?' in refused(engine, "setlist", "Satruday")
    done(engine, "setlist", "Friday")


def test_lines_and_groups_are_muted(engine: EngineInMemory) -> None:
    """`mute` and `unmute` take the name of a line or of a group; the status shows what is muted."""
    for name in ("horn line", "choir"):
        assert done(engine, "mute", name) == f"{name} muted\n"
        assert status(engine)["muted_routes"] == [name]
        assert refused(engine, "mute", name) == f"{name} is already muted\n"
        assert done(engine, "unmute", name) == f"{name} plays again\n"
    assert status(engine)["muted_routes"] == []
    assert 'did you mean "choir"?' in refused(engine, "mute", "chior")


def test_the_foot_of_the_shell_transposes(engine: EngineInMemory) -> None:
    """`transpose` goes up and down in semitones, 0 returns, and more than two octaves are a usage error."""
    assert done(engine, "transpose", "1") == "transposed by +1 semitone\n"
    assert done(engine, "transpose", "-3") == "transposed by -2 semitones\n"
    assert status(engine)["step"] == -2
    assert done(engine, "transpose", "0") == "no longer transposed\n"
    assert engine.bayleaf("transpose", "25").returncode == 2


def test_panic_silences_all_or_one_instrument(engine: EngineInMemory) -> None:
    """`panic INSTRUMENT` silences its channels, spare ones too; the second panic within two seconds says that it sends
    a note-off for every key; an unknown instrument is answered with the nearest."""
    assert done(engine, "panic", "horns") == "panic: horns silenced, channels 2, 3 of brass\n"
    assert done(engine, "panic", "horns").endswith("of brass, with a note-off for every key\n")
    assert "everything silenced on 2 outputs\n" in done(engine, "panic")
    assert done(engine, "panic").endswith("with a note-off for every key\n")
    assert 'did you mean "violins"?' in refused(engine, "panic", "violin")
