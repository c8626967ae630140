"""`bayleaf sounds` and `new --kind`, as a user types them."""

import json
from pathlib import Path

import pytest

from engine.cli.app import main
from tests.support.plain_rig_2 import RIG_2


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    """Run the command in this process; returns its status."""
    monkeypatch.setattr("sys.argv", ["bayleaf", *arguments])
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def test_a_ready_rig_is_written_checked_and_searched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`new --kind` writes a rig that `check` accepts, and `sounds` finds a name of General MIDI in it."""
    rig = str(tmp_path / "two.toml")
    assert run(monkeypatch, "new", rig, "--kind", "two-keyboards") == 0
    assert run(monkeypatch, "check", rig) == 0
    assert "F0 7E 7F 09 01 F7" in capsys.readouterr().out
    assert run(monkeypatch, "sounds", rig, "VIOL", "in", "--json") == 0
    assert {one["program"] for one in json.loads(capsys.readouterr().out)} == {41}  # RP-003, Table 2
    assert run(monkeypatch, "sounds", rig, "violin", "--instrument", "piano", "--json") == 0
    assert [one["instrument"] for one in json.loads(capsys.readouterr().out)] == ["piano"]
    assert run(monkeypatch, "sounds", rig, "violin", "--audition") == 1
    assert "--instrument" in capsys.readouterr().err
    assert run(monkeypatch, "sounds", rig, "nothing-like-it") == 1
    all_of_them = "leave the letters out to list all of them\n"
    assert capsys.readouterr().err == f'no sound has "nothing-like-it" in its name; {all_of_them}'
    assert run(monkeypatch, "sounds", rig, "violni") == 1
    assert capsys.readouterr().err.startswith('no sound has "violni" in its name; did you mean "Violin" or "Viola"')
    assert run(monkeypatch, "sounds", rig, "violin", "--instrument", "paino") == 1
    assert 'there is no instrument "paino"; did you mean "piano"?' in capsys.readouterr().err
    assert run(monkeypatch, "new", str(tmp_path / "x.toml"), "--kind", "moon") == 1


def test_a_printed_label_is_found_like_a_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Labels of gear that numbers in banks of eight, in any case, alone or with letters of the name."""
    rig = tmp_path / "old.toml"
    rig.write_text(
        'format = 2\n[outputs]\nsynth = { port = "d" }\n[instruments.old]\noutput = "synth"\nchannel = 1\n'
        'labels = "A11..B88"\n'
        'sounds = { "Brass" = { printed = "A11" }, "Bell" = { send = ["song 1"], program = 20 } }\n'
        '[[scenes]]\nnumber = 1\nname = "One"\n'
    )
    for letters, sound, program in (("a11", "Brass", 1), ("bra A1", "Brass", 1), ("A34", "Bell", 20)):
        assert run(monkeypatch, "sounds", str(rig), *letters.split(), "--json") == 0
        (found,) = json.loads(capsys.readouterr().out)
        assert (found["sound"], found["program"]) == (sound, program)
    assert run(monkeypatch, "sounds", str(rig)) == 0
    assert "song 1, 20" in capsys.readouterr().out


def test_a_csv_cell_is_no_command_to_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Control codes in a cell, from a file by somebody else, are printed as escapes."""
    source = tmp_path / "a.csv"
    source.write_text("msb,lsb,program,name\n0,3,\x1b[2J,Warm pad\n", encoding="utf-8")
    assert run(monkeypatch, "sounds", "import", str(source), str(tmp_path / "a.toml")) == 1
    printed = capsys.readouterr().err
    assert "[2J" in printed
    assert "\x1b" not in printed


def test_import_makes_a_list_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`sounds import` makes a sound list from a CSV file, and leaves an existing file alone."""
    source, made = tmp_path / "a.csv", tmp_path / "a.toml"
    source.write_text("msb,lsb,program,name\n0,3,12,Warm pad\n", encoding="utf-8")
    assert run(monkeypatch, "sounds", "import", str(source), str(made)) == 0
    assert "Warm pad" in made.read_text(encoding="utf-8")
    assert run(monkeypatch, "sounds", "import", str(source), str(made)) == 1
    assert run(monkeypatch, "sounds", "import", str(source)) == 2
    assert run(monkeypatch, "sounds", "import", str(tmp_path / "no.csv"), str(tmp_path / "b.toml")) == 1


def test_a_sound_that_messages_choose_is_shown_with_its_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the place of a program; in JSON by itself."""
    rig = tmp_path / "pit.toml"
    rig.write_text(RIG_2)
    assert run(monkeypatch, "sounds", str(rig), "fret") == 0
    assert "F0 7D 01 F7" in capsys.readouterr().out
    assert run(monkeypatch, "sounds", str(rig), "fret", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert [(one["program"], one["send"]) for one in found] == [(None, ["F0 7D 01 F7"])]
