"""Sound lists: sounds by name from a file of their own."""

from pathlib import Path
from typing import Literal

import pytest

from engine.rig.edit.scene_edits import rename_scene
from engine.rig.gear_words import sound_of
from engine.rig.models.rig import Instrument, Sound
from engine.rig.read.load import RigError, load
from engine.rig.read.sound_list import SoundListError, read_list, sound_list
from engine.rig.sound_csv import from_csv
from tests.support.check_values import check_value
from tests.support.plain_rig import RIG

WITH_LIST = RIG.replace('bank    = "none"\n', 'bank    = "none"\nsounds_from = "general-midi"\n')
STEP = '{ instrument = "old-synth", sound = "Violin" },\n  { output = "drums", channel = 10'


def test_the_general_midi_names_are_the_standards() -> None:
    """The built-in list has the 128 names of RP-003, Table 2, in their order, printed from 1."""
    listed = sound_list("general-midi", Path())
    assert [sound.name for sound in listed.sounds] == check_value("gm-names").expected
    assert [sound.program for sound in listed.sounds] == list(range(1, 129))
    for cable in (0, 24, 40, 73, 127):
        assert listed.sounds[cable].name == check_value(f"gm-name-{cable}").expected


def test_an_instrument_has_its_lists_sounds_and_its_own_win(tmp_path: Path) -> None:
    """`sounds_from` gives an instrument the list's sounds, numbered as the instrument does; a sound of the rig wins."""
    file = tmp_path / "pit.toml"
    file.write_text(WITH_LIST.replace('"Bass" =', '"Flute" = { program = 3 }, "Bass" ='), encoding="utf-8")
    sounds = load(file).instruments["old-synth"].sounds
    assert sounds["Violin"].program == 40  # this one counts from 0; on the cable 40 is the violin (RP-003, Table 2)
    assert sounds["Flute"].program == 3
    assert len(sounds) == 129


def test_a_list_lies_beside_the_rig_and_is_read_through_edits(tmp_path: Path) -> None:
    """A list's path is relative to the rig; a scene may name its sounds, and an edit leaves the key as it is."""
    (tmp_path / "lists").mkdir()
    (tmp_path / "lists" / "old.toml").write_text(
        'format = 1\nprograms_from = 0\nsounds = [ { name = "Violin", program = 9 } ]\n', encoding="utf-8"
    )
    text = WITH_LIST.replace("general-midi", "lists/old.toml").replace('{ output = "drums", channel = 10', STEP)
    file = tmp_path / "pit.toml"
    file.write_text(rename_scene(text, 12, "End"), encoding="utf-8")
    rig = load(file)
    assert 'sounds_from = "lists/old.toml"' in file.read_text(encoding="utf-8")
    assert rig.instruments["old-synth"].sounds["Violin"].program == 9


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("format = 1\nsounds = [\n  { name = 'A', program = 129 },\n]\n", "list.toml:3: "),
        ("format = 1\nsounds = [\n  { name = 'A', program = 0 },\n]\n", "list.toml:3: found program 0"),
        ("format = 1\nsounds = [\n  { name = 'A', program = 1 },\n  { name = 'A', program = 2 },\n]\n", "list.toml:4:"),
        ("format = 1\nsounds = [\n", "list.toml:2: this is not TOML"),
    ],
)
def test_a_wrong_list_is_reported_by_file_and_line(tmp_path: Path, text: str, expected: str) -> None:
    """An error in a list names the list and its line, on the instrument's line of the rig."""
    (tmp_path / "list.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SoundListError, match=expected):
        read_list(text, "list.toml")
    file = tmp_path / "pit.toml"
    file.write_text(WITH_LIST.replace("general-midi", "list.toml"), encoding="utf-8")
    with pytest.raises(RigError, match=expected) as refusal:
        load(file)
    assert refusal.value.problems[0].key == "instruments.old-synth.sounds_from"


def test_a_missing_list_says_what_there_is(tmp_path: Path) -> None:
    """A missing list is reported with the names of the built-in ones."""
    with pytest.raises(SoundListError, match="general-midi"):
        sound_list("nothing.toml", tmp_path)


def test_csv_becomes_a_list() -> None:
    """Columns may be in any order; sounds of the same name are distinguished by bank and program."""
    made = from_csv("name,program,lsb,msb\nPad,12,3,0\nPad,13,3,0\nBass,1,,\n", "a.csv")
    listed = read_list(made, "a.toml")
    assert [(sound.name, sound.program, sound.bank) for sound in listed.sounds] == [
        ("Pad", 12, (0, 3)),
        ("Pad (0 3 13)", 13, (0, 3)),
        ("Bass", 1, None),
    ]


def test_semicolons_part_columns_too() -> None:
    """Spreadsheets write semicolons where the comma is the decimal sign (common practice, no source)."""
    made = from_csv('msb;lsb;program;name\n0;3;12;"Pad,\n ""warm"""\n', "a.csv")
    assert read_list(made, "a.toml").sounds[0].name == 'Pad, "warm"'


def test_all_that_is_wrong_with_a_list_is_reported(tmp_path: Path) -> None:
    """Each mistake in a list is one sentence with its place, like those of the rig."""
    (tmp_path / "list.toml").write_text(
        "format = 1\nsounds = [\n  { name = 'A', program = 200 },\n  { name = '' },\n]\n"
    )
    file = tmp_path / "pit.toml"
    file.write_text(WITH_LIST.replace("general-midi", "list.toml"), encoding="utf-8")
    with pytest.raises(RigError) as refusal:
        load(file)
    lines = str(refusal.value).splitlines()
    assert [line.partition("list.toml:")[2].partition(":")[0] for line in lines] == ["3", "4", "4"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "a.csv:1: found the columns none"),
        ("program,title\n", "a.csv:1: found the columns program, title"),
        ("program,name\n1,A\n0,B\n", 'a.csv:3: program: found "0"; allowed: 1 to 128'),
        ("program,name\n1\n", "a.csv:2: found 1 columns"),
        ('program,name\n1,"A\n2,B\n3,C\n', "a.csv:4: this is not valid CSV; is a quote left open?"),
        (f"program,name\n1,{'A' * 200_000}\n", "a.csv:2: this is not valid CSV"),
        ("program,name\n1,A\n1,A\n1,A\n", "a.csv:4: this sound is listed twice"),
    ],
)
def test_wrong_csv_is_reported_by_line(text: str, expected: str) -> None:
    """A mistake in a CSV file is reported by its line, with what is allowed."""
    with pytest.raises(SoundListError) as fault:
        from_csv(text, "a.csv")
    assert expected in str(fault.value)


@pytest.mark.parametrize(
    ("listens", "selected", "name"),
    [("msb lsb", (3, 7), "Pad"), ("msb lsb", (3, 0), None), ("msb", (3, 0), "Pad"), ("lsb", (0, 7), "Pad")],
)
def test_a_sound_is_known_by_what_its_instrument_heeds(
    listens: Literal["msb lsb", "msb", "lsb"], selected: tuple[int, int], name: str | None
) -> None:
    """An instrument that ignores the LSB is sent none, and its sound is recognised all the same."""
    gear = Instrument(
        output="box", channel=1, bank=listens, sounds={"Pad": Sound.model_validate({"bank": [3, 7], "program": 12})}
    )
    assert sound_of(gear, selected, 11) == name
    assert sound_of(gear, selected, 12) is None
