"""The keys of a keyboard as controls in a whole rig: short, long and double presses, and learning them."""

from engine.core.control.control_learning import learn
from engine.core.control.explain_command import commanded
from engine.core.engine import Engine
from engine.midi.key_messages import KEY_CODES, key_message
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, input_lost, recall

MS = 1_000_000
RIG = """
format = 2
[inputs]
pages = { keyboard = "Page turner*" }
[outputs]
strings = { port = "Box" }
[[scenes]]
number = 1
name = "Overture"
[[scenes]]
number = 2
name = "Market"
[[scenes]]
number = 3
name = "Finale"
[[controls]]
input = "pages"
when = { key = "PageDown" }
do = "next"
[[controls]]
input = "pages"
when = { key = "PageUp" }
do = "back"
[[controls]]
input = "pages"
when = { key = "PageUp", press = "long" }
do = "first"
[[controls]]
input = "pages"
when = { key = 200 }
do = { }
""".replace("do = { }", 'do = "scene"\nscene = 3')


def show() -> Engine:
    made = engine_of(read(RIG, "pit.toml"))
    recall(made, 0, 1)
    return made


def press(made: Engine, at: int, key: str | int, held: int = 100) -> int:
    """Press a key at this time for so long (ms); the scene that is then in force."""
    code = KEY_CODES[key] if isinstance(key, str) else key
    assert made.receive(at * MS, 0, key_message(code, True)) == []
    made.tick((at + held) * MS)
    assert made.receive((at + held) * MS, 0, key_message(code, False)) == []
    assert made.scene is not None
    return made.scene[0]


def test_keys_move_through_the_show() -> None:
    """A press moves once, however long the key is held; a long press may mean something else; other keys do nothing."""
    made = show()
    assert [press(made, at, "PageDown") for at in (100, 400)] == [2, 3]
    assert press(made, 700, "PageUp") == 2
    assert press(made, 1000, "A") == 2
    assert press(made, 2000, 200, held=5000) == 3
    assert press(made, 8000, "PageUp", held=700) == 1


def test_a_pulled_keyboard_holds_nothing() -> None:
    """A key that was down when the keyboard was pulled is not a long press, and is pressed again when it is back."""
    made = show()
    made.receive(0, 0, key_message(KEY_CODES["PageUp"], True))
    input_lost(made, 100 * MS, 0)
    made.tick(5000 * MS)
    assert press(made, 6000, "PageDown") == 2


def test_a_key_is_learned() -> None:
    """Three presses of a key give its control, by its name; a key without a name by its number."""
    for code, learned in ((KEY_CODES["PageDown"], "PageDown"), (200, 200)):
        heard = [(at * 300 * MS, key_message(code, at % 2 == 0)) for at in range(6)]
        found = learn(heard)
        assert found is not None
        assert (found.when, found.presses) == ({"key": learned}, 3)


def test_what_a_key_commands_is_explained() -> None:
    """The explanation of a key says what it commands."""
    rig = read(RIG, "pit.toml")
    found = commanded(rig, rig.scenes[0], "pages", key_message(KEY_CODES["PageUp"], True))
    assert found is not None
    assert found.commands == ("back", "first, by a long press")
