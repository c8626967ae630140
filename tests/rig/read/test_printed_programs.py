"""Labels that gear prints in place of program numbers: read, found, and reported where they do not exist."""

from pathlib import Path

import pytest

from engine.core.cable.program_burst import compile_step
from engine.rig.gear_words import label_of
from engine.rig.models.printed_labels import programs_by_label
from engine.rig.models.rig import BurstStep
from engine.rig.read.load import RigError, read
from engine.rig.sound_csv import from_csv

RIG = """
format = 2
[outputs]
synth = { port = "d" }
[instruments.old]
output = "synth"
channel = 1
bank = "none"
labels = "A11..B88"
sounds = { "Brass" = { printed = "A11" }, "Strings" = { printed = "B88" }, "Bell" = { program = 20 } }
[[scenes]]
number = 1
name = "One"
"""


def _programs(rig: str) -> dict[str, int | None]:
    return {name: sound.program for name, sound in read(rig, "r.toml").instruments["old"].sounds.items()}


def test_banks_of_eight() -> None:
    """The last digit runs fastest: A11 to A18, A21 … A88, B11 … B88, which are 128 programs."""
    assert _programs(RIG) == {"Brass": 1, "Strings": 128, "Bell": 20}
    gear = read(RIG, "r.toml").instruments["old"]
    assert label_of(gear, gear.sounds["Bell"]) == "A34"
    zero = RIG.replace("labels", "programs_from = 0\nlabels")
    assert _programs(zero) == {"Brass": 0, "Strings": 127, "Bell": 20}


@pytest.mark.parametrize(
    ("labels", "label", "program"),
    [("A1..P8", "P8", 128), ("11..88", "21", 9), ("A-11..B-88", "B-11", 65), ("1..8", "8", 8)],
)
def test_other_ways_to_print_banks_of_eight(labels: str, label: str, program: int) -> None:
    """Any run of letters and of digits from 1 to 8."""
    assert programs_by_label(labels, 1)[label] == program


def test_a_table_of_labels() -> None:
    """Labels with their programs, as the instrument counts them; one sound may have its program itself."""
    table = '{ U1 = 65, "Preset 2" = 2 }'
    rig = RIG.replace('"A11..B88"', table).replace("A11", "U1").replace('"B88"', '"Preset 2"')
    assert _programs(rig) == {"Brass": 65, "Strings": 2, "Bell": 20}
    own = RIG.replace('labels = "A11..B88"\n', "").replace('printed = "A11"', 'printed = "A11", program = 3')
    assert _programs(own.replace('printed = "B88"', 'printed = "x", program = 4')) == {
        "Brass": 3,
        "Strings": 4,
        "Bell": 20,
    }


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        (
            '"A11" }',
            '"A91" }',
            'r.toml:10: instruments.old.sounds.Brass.printed: there is no label "A91"; did you mean',
        ),
        ('labels = "A11..B88"', "", 'printed: give the instrument its labels, such as labels = "A11..B88"'),
        ('"A11..B88"', '"B11..A88"', "instruments.old.labels: "),
        ('"A11..B88"', '"A11..C88"', "more than 128"),
        ('"A11..B88"', '"A11"', "banks of eight"),
        ('"A11..B88"', "{ A11 = 129 }", "banks of eight"),
        ("format = 2", "format = 1", "needs format = 2"),
    ],
)
def test_wrong_labels_are_reported(was: str, now: str, said: str) -> None:
    """Each with its line, and what is allowed."""
    with pytest.raises(RigError) as caught:
        read(RIG.replace(was, now), "r.toml")
    assert said in str(caught.value)


def test_labels_in_a_sound_list(tmp_path: Path) -> None:
    """A list, also one that was made from a spreadsheet, may give labels in place of programs."""
    made = from_csv("printed,name\nA12,Pad\n", "a.csv")
    (tmp_path / "old.toml").write_text(made)
    rig = RIG.replace("labels =", 'sounds_from = "old.toml"\nlabels =')
    gear = read(rig, "r.toml", folder=tmp_path).instruments["old"]
    assert gear.sounds["Pad"].program == 2


def test_a_sound_in_two_steps_has_two() -> None:
    """The messages with their settle time, then the program with that of the instrument."""
    rig = read(
        RIG.replace("bank =", 'settle = "20 ms"\nbank =').replace(
            "{ program = 20 }", '{ send = ["F0 7D 01 F7"], settle = "80 ms", program = 20 }'
        ),
        "r.toml",
    )
    _, steps = compile_step(rig, BurstStep(instrument="old", sound="Bell"))
    assert [(step.unit, step.settle) for step in steps] == [
        ((bytes.fromhex("F07D01F7"),), 80_000_000),
        ((bytes.fromhex("C013"),), 20_000_000),
    ]
