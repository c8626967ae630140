"""What a rig may say of lights and displays, and the errors about it. (Our own design; no source.)"""

import pytest

from engine.rig.models.feedback import MOST_DISPLAYS, MOST_TALLIES, ShownField, read_show
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read

RIG = """format = {format}
[inputs]
keys = {{ port = "Piano" }}
[outputs]
lights = {{ port = "Foot" }}
[[scenes]]
number = 1
name = "One"
routes = [{{ from = "keys", to = "lights", name = "brass" }}]
{more}
"""
LIT = 'to = "lights"\non = "B0 14 7F"\noff = "b0 14 00"\n'


def rig(more: str, rig_format: int = 2) -> Rig:
    return read(RIG.format(format=rig_format, more=more), "pit.toml")


def problems(more: str, rig_format: int = 2) -> list[str]:
    """What is reported about such a rig."""
    with pytest.raises(RigError) as fault:
        rig(more, rig_format)
    return [f"{found.key}: {found.text}" for found in fault.value.problems]


def tally(when: str, lit: str = LIT) -> str:
    return f"[[tallies]]\nwhen = {{ {when} }}\n{lit}"


def display(show: str) -> str:
    return f"[[displays]]\nto = \"lights\"\nshow = '{show}'\n"


def test_what_is_read() -> None:
    """A light says when it is on, and with which bytes; a display's message has bytes and fields."""
    made = rig(tally('route = "brass"') + tally("scene = 1") + tally('clock = "running"') + display("F07D {tempo:3}F7"))
    assert [each.when.model_dump(exclude_none=True) for each in made.tallies] == [
        {"route": "brass"},
        {"scene": 1},
        {"clock": "running"},
    ]
    assert (made.tallies[0].on, made.tallies[0].off) == ("B0 14 7F", "B0 14 00")
    assert read_show(made.displays[0].show) == (b"\xf0", b"\x7d", ShownField("tempo", 3), b"\xf7")


def test_a_rig_has_only_so_many() -> None:
    """Each costs time when something changes, so there is a limit, and the error says it."""
    lamps = "".join(tally("scene = 1", LIT.replace("14", f"{number % 120:02X}")) for number in range(MOST_TALLIES + 1))
    shown = display("F0 7D {tempo:3} F7") * (MOST_DISPLAYS + 1)
    assert problems(lamps + shown) == [
        "tallies: found a list of 501; allowed: a list of at most 500",
        "displays: found a list of 51; allowed: a list of at most 50",
    ]


SHAPE = 'a SysEx in hexadecimal with fields in braces, such as "F0 7D 01 {scene.name:16} F7"'


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (tally('route = "brass", scene = 1'), "tallies.1.when: found a table with route, scene; give exactly one of"),
        (tally(""), "tallies.1.when: found an empty table; give exactly one of route, scene, song, clock"),
        (tally('route = "brasse"'), 'tallies.1.when.route: there is no route "brasse"; did you mean "brass"?'),
        (tally("scene = 7"), "tallies.1.when.scene: there is no scene 7"),
        (tally('clock = "stopped"'), 'tallies.1.when.clock: found "stopped"; allowed: "running"'),
        (tally("scene = 1", LIT.replace("lights", "light")), 'tallies.1.to: there is no output "light"; did you mean'),
        (tally("scene = 1", LIT.replace("B0 14 7F", "B0 14")), 'tallies.1.on: found "B0 14"; allowed: one complete'),
        (tally("scene = 1", LIT.replace('"b0 14 00"', "3")), "tallies.1.off: found 3; allowed: one complete message"),
        (display("F0 7D {scene.title} F7"), "displays.1.show: found"),
        (display("F0 7D {scene.name:0} F7"), "displays.1.show: found"),
        (display("F0 7D {tempo:200} F7"), "displays.1.show: found"),
        (display("90 {tempo} F7"), f'displays.1.show: found "90 {{tempo}} F7"; allowed: {SHAPE}'),
        (display("F0 7D F7 {tempo} F7"), f'displays.1.show: found "F0 7D F7 {{tempo}} F7"; allowed: {SHAPE}'),
        (display("{tempo} F0 7D F7"), "displays.1.show: found"),
        (display("F0 7D {tempo"), f'displays.1.show: found "F0 7D {{tempo"; allowed: {SHAPE}'),
        (display(""), "displays.1.show: found"),
    ],
)
def test_what_makes_no_sense_is_reported(more: str, said: str) -> None:
    """Names that lead nowhere, messages that are not whole and fields that do not exist are errors with remedies."""
    assert any(each.startswith(said) for each in problems(more)), problems(more)


def test_they_need_format_2() -> None:
    """Lights and displays are reported in a rig of format 1."""
    text = "this key needs format = 2 in the first line of the file; it says 1"
    assert problems(tally("scene = 1") + display("F0 7D F7"), 1) == [f"tallies: {text}", f"displays: {text}"]
