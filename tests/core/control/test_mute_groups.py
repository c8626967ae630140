"""Routes and lines that are muted together, by the name of their group. (Our own design; no outside source.)"""

import pytest

from engine.core.commands import MuteRoute, RecallScene, ToggleRoute, UnmuteRoute
from engine.core.engine import Engine
from engine.rig.read.load import RigError, read
from tests.support.engine_calls import engine_of

RIG = """format = 2
[inputs]
keys = { port = "a" }
[outputs]
box = { port = "b" }
[instruments.altos]
output = "box"
channel = 1
[instruments.tenors]
output = "box"
channel = 2
[instruments.bass]
output = "box"
channel = 3
[[routes]]
group = "choir"
from = "keys"
to = "box"
through = [ { filter = "channels", map = { 1 = 4 } } ]
[[scenes]]
number = 1
name = "One"
play = [
  { from = "keys", on = "altos", group = "choir", name = "high" },
  { from = "keys", on = "tenors", group = "choir" },
  { from = "keys", on = "bass" },
]
"""


@pytest.fixture
def choir() -> Engine:
    made = engine_of(read(RIG, "test"))
    made.apply(0, RecallScene(1))
    return made


def channels(made: Engine, key: int = 60) -> list[int]:
    """The channels, from 1, on which a key sounds and ends."""
    begun, ended = ([m[0] & 0x0F for _, m, _ in made.receive(1, 0, bytes((kind, key, 64)))] for kind in (0x90, 0x80))
    assert sorted(begun) == sorted(ended)
    return sorted(channel + 1 for channel in begun)


def test_a_group_is_muted_and_unmuted_at_once(choir: Engine) -> None:
    """Routes of every scene, named lines and lines without a name alike."""
    assert channels(choir) == [1, 2, 3, 4]
    assert choir.apply(1, MuteRoute("choir")).outcome.text == "choir muted"
    assert channels(choir) == [3]
    choir.apply(1, UnmuteRoute("choir"))
    assert channels(choir) == [1, 2, 3, 4]


def test_a_line_plays_when_neither_it_nor_its_group_is_muted(choir: Engine) -> None:
    """The two are muted each by its own name."""
    choir.apply(1, MuteRoute("high"))
    choir.apply(1, ToggleRoute("choir"))
    choir.apply(1, ToggleRoute("choir"))
    assert channels(choir) == [2, 3, 4]
    choir.apply(1, UnmuteRoute("high"))
    assert channels(choir) == [1, 2, 3, 4]


def test_held_notes_of_a_muted_group_ring_until_their_keys_are_up(choir: Engine) -> None:
    choir.receive(1, 0, bytes((0x90, 60, 64)))
    assert choir.apply(2, MuteRoute("choir")).deliveries == []
    assert len(choir.receive(3, 0, bytes((0x80, 60, 64)))) == 4


def test_a_name_that_is_neither_route_nor_group_is_refused(choir: Engine) -> None:
    assert 'there is no route "chor"; did you mean "choir"?' in choir.apply(1, MuteRoute("chor")).outcome.text
    control = '[[controls]]\ninput = "keys"\nwhen = { controller = 80 }\ndo = { mute = "NAME" }\n'
    assert read(RIG + control.replace("NAME", "choir"), "test").controls
    with pytest.raises(RigError, match='there is no route "chor"'):
        read(RIG + control.replace("NAME", "chor"), "test")


def test_format_1_has_no_groups() -> None:
    text = 'format = 1\n[inputs]\nk = { port = "a" }\n[outputs]\nb = { port = "b" }\n'
    with pytest.raises(RigError, match="group: this key needs format = 2"):
        read(text + '[[routes]]\ngroup = "x"\nfrom = "k"\nto = "b"\n[[scenes]]\nnumber = 1\nname = "A"\n', "test")
