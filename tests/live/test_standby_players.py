"""A takeover with players who have scenes of their own: every stack goes on, where it was, on the other machine."""

from typing import Final

import pytest

from engine.core.commands import FirstScene, MuteRoute, NextScene, NextSong, RecallScene, Transpose
from tests.support.standby_world import FOOT, KEYS, RIG, World

_PLAYERS: Final = """
[[scenes]]
number = 1
name = "Overture"
play = [{ from = "keys", on = "string-machine", sound = "A", name = "strings" }]
[[scenes]]
number = 2
name = "March"
play = [{ from = "keys", on = "string-machine", sound = "B" }]
[[scenes]]
number = 21
name = "Fanfare"
play = [{ from = "foot", on = "horn", sound = "Open" }]
[[scenes]]
number = 22
name = "Lament"
play = [{ from = "foot", on = "horn", sound = "Muted", transpose = 12 }]
[[scenes]]
number = 23
name = "Finale"
play = [{ from = "foot", on = "horn", sound = "Open", transpose = -12 }]
[[scenes]]
number = 31
name = "Roll"
play = [{ from = "pads", on = "bell" }]
[[scenes]]
number = 32
name = "Chimes"
play = [{ from = "pads", on = "bell", transpose = 1 }]
[[songs]]
name = "Ballad"
transpose = -2
scenes = [22, 23]
[[setlists]]
name = "Pit"
scenes = [1, 2]
[[setlists]]
name = "Anna"
scenes = [21, 22, 23]
[[setlists]]
name = "Ben"
scenes = [32, 31, 32]
[[players]]
name = "anna"
inputs = ["foot"]
setlist = "Anna"
[[players]]
name = "ben"
inputs = ["pads"]
setlist = "Ben"
[[controls]]
input = "foot"
when = { controller = 80 }
do = "next"
"""
_GEAR: Final = """
[instruments.horn]
output = "brass"
channel = 2
sounds = { "Open" = { program = 62 }, "Muted" = { program = 60 } }
[instruments.bell]
output = "brass"
channel = 10
"""


def players_rig() -> str:
    """The ports and machines of the world's rig, with other scenes: the desk's pads are Ben's, Anna plays at `left`."""
    ports = RIG[: RIG.index("[[routes]]")].replace("format = 1", "format = 2")
    return ports + _GEAR + _PLAYERS


def begun() -> World:
    """The desk leads, the spare follows; everybody is somewhere within their set lists."""
    world = World(players_rig())
    show = world.engines["desk"].show
    for command in (
        *(FirstScene(player=name) for name in ("anna", "ben")),
        *(NextScene(), NextScene(player="ben")),
        *(Transpose(3, player="ben"), Transpose(-1), MuteRoute("strings")),
    ):
        assert show.apply(command, "shell").done
    world.play(FOOT, "B0 50 7F", "B0 50 00")
    world.run(200)
    for name in ("strings", "brass"):
        world.heard(name)
    return world


@pytest.mark.parametrize("death", ["kill", "freeze", "give_away"])
def test_every_stack_goes_on_where_it_was(death: str) -> None:
    """Scene, set list, place, song and step of each; nothing is sent again, and what sounds ends with its key."""
    world = begun()
    before = world.engines["desk"].show.engine.positions
    assert {name: (each.scene, each.place, each.song, each.step) for name, each in before.items()} == {
        "": (2, 1, "", -1),
        "anna": (22, 1, "Ballad", 0),
        "ben": (31, 1, "", 3),
    }
    world.play(FOOT, "91 3C 40", "B1 40 7F")
    world.play(KEYS, "90 3C 40")
    world.run(150)
    if death == "give_away":
        world.engines["desk"].standby.give_away(world.now)
    else:
        getattr(world, death)("desk")
    world.run(300)
    assert "spare" in world.leaders()
    assert (world.heard("strings"), world.heard("brass")) == (["90 3B 40"], ["91 46 40", "B1 40 7F"])
    spare = world.engines["spare"].show
    assert spare.engine.positions == before
    assert spare.engine.state.muted == {"strings"}
    world.play(FOOT, "B0 50 7F", "B0 50 00")
    world.run(20)
    after = spare.engine.positions
    assert (after["anna"].scene, after["anna"].song) == (23, "Ballad")
    assert (after[""], after["ben"]) == (before[""], before["ben"])
    world.play(FOOT, "81 3C 40", "B1 40 00", "91 3C 40", "81 3C 40")
    world.play(KEYS, "80 3C 40")
    world.run(20)
    assert world.heard("brass") == ["C1 3D", "81 46 40", "B1 40 00", "91 2E 40", "81 2E 40"]
    assert world.heard("strings") == ["80 3B 40"]


def test_after_a_takeover_each_set_list_goes_on_from_its_place() -> None:
    """Ben's scene is twice in his list; his next is the one after the second place. A song goes on, too."""
    world = begun()
    world.engines["desk"].show.apply(NextScene(player="ben"), "shell")
    world.run(50)
    world.kill("desk")
    world.run(200)
    spare = world.engines["spare"].show
    outcomes = [spare.apply(command, "shell") for command in (NextScene(player="ben"), NextSong(player="anna"))]
    assert [each.text for each in outcomes] == [
        "ben: already at the end of set list Ben",
        "anna: already in the last song of set list Anna",
    ]
    assert spare.apply(RecallScene(32), "shell").text == "ben: scene 32 Chimes"


def test_an_engine_that_comes_back_is_where_every_player_is() -> None:
    """The desk is started again while the spare leads; when it is given the show, nobody is anywhere else."""
    world = begun()
    world.kill("desk")
    world.run(200)
    assert world.engines["spare"].show.apply(NextScene(player="anna"), "shell").done
    desk = world.start("desk")
    world.run(1500)
    assert desk.show.engine.positions == world.engines["spare"].show.engine.positions
    world.heard("brass")
    world.engines["spare"].standby.give_away(world.now)
    world.run(300)
    assert world.leaders() == ["desk"]
    assert {name: each.scene for name, each in desk.show.engine.positions.items()} == {"": 2, "anna": 23, "ben": 31}
    assert world.heard("brass") == []
