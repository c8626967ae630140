"""Controls, lights and displays are tried out, and the show is as it was afterwards. (Our own protocol; no source.)"""

import trio

from engine.core.commands import RecallScene
from engine.live.gear.trials import Trials
from tests.support.answered import answered
from tests.support.players_rig import PLAYERS
from tests.support.small_show import RIG, Bench

GEAR = (
    RIG.replace("format = 1", "format = 2")
    + """
[[controls]]
input = "pedals"
when = { controller = 80 }
do = [{ toggle = "brass" }, "next"]
[[tallies]]
to = "brass"
when = { scene = 1 }
on = "B0 14 7F"
off = "B0 14 00"
[[displays]]
to = "brass"
show = "F0 7D 01 {scene.name:6} F7"
"""
)
ON, OFF = "B0 14 7F", "B0 14 00"
TEST, OVERTURE, MARCH = (f"F0 7D 01 {text.encode().hex(' ').upper()} F7" for text in ("TEST  ", "Overtu", "March "))


def bench(missing: tuple[str, ...] = ()) -> Bench:
    """In its first scene, its light and display sent."""
    made = Bench(GEAR, missing)
    made.show.apply(RecallScene(1), "shell")
    made.passes(100_000_000)
    if "brass" not in missing:
        assert made.heard("brass") == [ON, OVERTURE]
    return made


async def test_a_control_does_what_a_press_would_do() -> None:
    """All its actions in their order; one whose message carries a number takes the first of its numbers."""
    made = bench()
    first = await answered(Trials(made.show).handlers, {"do": "try", "what": "control", "place": 0})
    assert first["done"]
    assert "1 Overture" in first["text"]
    second = await answered(Trials(made.show).handlers, {"do": "try", "what": "control", "place": 1})
    assert not second["done"]  # there is no route called brass
    assert "brass" in second["text"]
    assert "2 March" in second["text"]
    assert made.scenes == [1, 2]  # the first recalled the scene that was in force


async def test_a_shared_control_acts_for_all_whom_it_is_for() -> None:
    """Also where none of them plays a scene that it is limited to."""
    made = Bench(
        f'{PLAYERS}\n[[controls]]\ninput = "keys"\nwhen = {{ controller = 81 }}\ndo = "first"\nscenes = [22]\n'
        'players = ["anna", "ben"]\n'
    )
    said = await answered(Trials(made.show).handlers, {"do": "try", "what": "control", "place": 2})
    assert said["done"]
    assert "anna: scene 21 Fanfare" in said["text"]
    assert "ben: scene 31 Tremolo" in said["text"]


async def test_a_light_is_on_for_a_second(autojump_clock: object) -> None:
    """Then it is as the show has it: on where it was on, and off where a scene has been recalled meanwhile."""
    made = bench()
    asked = {"do": "try", "what": "tally", "place": 0}
    assert (await answered(Trials(made.show).handlers, asked))["done"]
    assert made.heard("brass") == [ON, ON]
    made.show.apply(RecallScene(2), "shell")
    made.passes(200_000_000)
    assert made.heard("brass") == [OFF, MARCH]
    assert (await answered(Trials(made.show).handlers, asked))["done"]
    assert made.heard("brass") == [ON, OFF]


async def test_a_display_shows_a_test(autojump_clock: object) -> None:
    """For a second, also where the one who asked goes meanwhile; then it shows what the show has there."""
    made = bench()
    asked = {"do": "try", "what": "display", "place": 0}
    assert (await answered(Trials(made.show).handlers, asked))["done"]
    assert made.heard("brass") == [TEST, OVERTURE]
    with trio.move_on_after(0.1):
        await answered(Trials(made.show).handlers, asked)
    assert made.heard("brass") == [TEST, OVERTURE]


async def test_nothing_is_sent_where_nothing_is() -> None:
    """A missing output, and a place that the rig does not have, are reported."""
    made = bench(missing=("brass",))
    gone = await answered(Trials(made.show).handlers, {"do": "try", "what": "tally", "place": 0})
    assert (gone["code"], gone["text"]) == ("missing-port", "output brass is missing; nothing was sent")
    for what, text in (("control", "2 controls"), ("tally", "1 light"), ("display", "1 display")):
        none = await answered(Trials(made.show).handlers, {"do": "try", "what": what, "place": 7})
        assert not none["done"]
        assert text in none["text"]
