"""`bayleaf explain --picture`: a scene's signal flow as an SVG file."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from engine.cli.app import main

SVG = "{http://www.w3.org/2000/svg}"
RIG = """
format = 1
[inputs]
"<keys> & 'co'" = { port = "a" }
[outputs]
strings = { port = "b" }
[[scenes]]
number = 1
name = "<script>alert(1)</script>"
routes = [ { from = "<keys> & 'co'", to = "strings", name = "a]]>b", through = [
  { filter = "zone", notes = ["C4", "G9"] }, { filter = "transpose", semitones = 2 } ] } ]
burst = [ { output = "strings", channel = 1, program = 5 } ]
"""


def explain(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["bayleaf", "explain", *arguments])
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def drawn(file: Path) -> tuple[list[str], list[str]]:
    """The texts of a picture, and the classes of its lines."""
    root = ET.parse(file).getroot()
    assert root.tag == f"{SVG}svg"
    assert {each.tag.removeprefix(SVG) for each in root.iter()} == {"svg", "title", "style", "rect", "text", "path"}
    return ["".join(each.itertext()) for each in root.iter(f"{SVG}text")], [
        each.get("class", "") for each in root.iter(f"{SVG}path")
    ]


def test_the_picture_shows_ports_filters_and_sounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a message the scene's signal flow is drawn; every name is text, whatever it contains."""
    rig, out = tmp_path / "pit.toml", tmp_path / "out.svg"
    rig.write_text(RIG, encoding="utf-8")
    assert explain(monkeypatch, str(rig), "--picture", str(out)) == 0
    texts, lines = drawn(out)
    expected = {
        "Scene 1 <script>alert(1)</script>",
        "<keys> & 'co'",
        "strings",
        "a]]>b",
        "zone",
        "transpose",
        "program 5",
    }
    assert expected == set(texts)
    assert set(lines) == {"line"}


def test_a_message_leaves_its_verdicts_in_the_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each filter that the message reaches has its verdict beneath it; beyond the one that stops it the path is
    dashed."""
    rig, out = tmp_path / "pit.toml", tmp_path / "out.svg"
    rig.write_text(RIG, encoding="utf-8")
    arguments = (str(rig), "--input", "<keys> & 'co'", "--picture", str(out))
    assert explain(monkeypatch, *arguments, "90", "3C", "40") == 0
    texts, lines = drawn(out)
    assert {"leaves it", "90 3E 40"} <= set(texts)
    assert "line silent" not in lines
    out.unlink()
    assert explain(monkeypatch, *arguments, "90", "3B", "40") == 0
    texts, lines = drawn(out)
    assert "stops it" in texts
    assert lines.count("line silent") == 3


def test_a_picture_overwrites_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An existing file is left alone; giving neither a message nor a picture is a usage error."""
    rig, out = tmp_path / "pit.toml", tmp_path / "out.svg"
    rig.write_text(RIG, encoding="utf-8")
    out.write_text("mine")
    assert explain(monkeypatch, str(rig), "--picture", str(out)) == 1
    assert out.read_text() == "mine"
    assert "left alone" in capsys.readouterr().err
    assert explain(monkeypatch, str(rig)) == 2


def test_a_picture_is_called_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file name without .svg is rejected and a better one suggested; with --json the result is reported as JSON."""
    rig = tmp_path / "pit.toml"
    rig.write_text(RIG, encoding="utf-8")
    assert explain(monkeypatch, str(rig), "--picture", str(tmp_path / "out.png")) == 1
    assert "name it out.svg" in capsys.readouterr().err
    assert not (tmp_path / "out.png").exists()
    assert explain(monkeypatch, str(rig), "--picture", str(tmp_path / "out.SVG"), "--json") == 0
    assert json.loads(capsys.readouterr().out)["picture"] == str(tmp_path / "out.SVG")


def test_the_title_has_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However long a scene's name is, the picture is wide enough for it: at least half the letter height per letter
    (common practice, no source). A long message makes it no wider."""
    rig, out = tmp_path / "pit.toml", tmp_path / "out.svg"
    name = "The second act's finale, when everybody is on stage and the orchestra plays as loud as it may and can"
    rig.write_text(RIG.replace("<script>alert(1)</script>", name), encoding="utf-8")
    assert explain(monkeypatch, str(rig), "--picture", str(out)) == 0
    wide = float(ET.parse(out).getroot().get("width", "0"))
    assert wide > len(name) * 22 / 2
    out.unlink()
    dump = ("F0", "7D", *["00"] * 3000, "F7")
    assert explain(monkeypatch, str(rig), "--input", "<keys> & 'co'", "--picture", str(out), *dump) == 0
    assert float(ET.parse(out).getroot().get("width", "0")) == wide
