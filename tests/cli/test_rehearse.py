"""`bayleaf rehearse`, as a user types it."""

import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import mido
import pytest

from engine.offline import report_page
from tests.support.bayleaf_command import Bayleaf
from tests.support.rehearsal_rig import DEMO, RIG, SONG


def song(file: Path, *tracks: tuple[str, list[mido.Message]]) -> Path:
    """A file of these tracks, with 480 ticks per beat of half a second."""
    made = mido.MidiFile(ticks_per_beat=480)
    for name, messages in tracks:
        made.tracks.append(mido.MidiTrack([mido.MetaMessage("track_name", name=name), *messages]))
    made.save(file)
    return file


def held_over_a_change() -> list[mido.Message]:
    """A note from beat 2 to 4; at beat 3 scene 2 is recalled and another note begins."""
    return [
        mido.Message("note_on", note=60, velocity=100, time=480),
        mido.Message("program_change", program=1, time=480),
        mido.Message("note_on", note=64, velocity=90, time=0),
        mido.Message("note_off", note=60, velocity=10, time=480),
        mido.Message("note_off", note=64, velocity=10, time=480),
    ]


def heard(file: Path) -> list[tuple[float, bytes]]:
    """(seconds, message) as mido reads it."""
    at, found = 0.0, []
    for message in mido.MidiFile(file):
        at += message.time
        if not message.is_meta:
            found.append((at, bytes(message.bytes())))
    return found


def test_each_output_gets_its_file_with_the_bursts_where_the_wire_puts_them(
    bayleaf: Bayleaf, rig: Path, tmp_path: Path
) -> None:
    """The burst is bank MSB, bank LSB, program at 320 µs per byte (MIDI 1.0 pp. 1, 13). A note on that channel waits
    until the instrument has settled, and each release goes where its note went."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    status, _, err = bayleaf("rehearse", rig, played, "--input", "keys", "--out", tmp_path / "out")
    assert (status, err) == (0, "")
    said = heard(tmp_path / "out" / "strings.mid")
    assert [message.hex(" ") for _, message in said] == [
        "b0 00 00", "b0 20 03", "c0 0b",  # scene 1: printed program 12 is 11 on the cable (MIDI 1.0 p. 13)
        "90 3c 64",
        "b0 00 00", "b0 20 04", "c0 0c", "90 40 5a",
        "80 3c 0a", "80 40 0a",
    ]  # fmt: skip
    ms = [at * 1000 for at, _ in said]
    change = 8 * 0.32  # three, three and two bytes
    times = [0, 0.96, 1.92, 500, 1000, 1000.96, 1001.92, 1000 + change + 30, 1500, 2000]
    assert ms == pytest.approx(times, abs=0.05)


def test_the_report_says_what_each_change_cost(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """report.json has the burst's bytes, the time until the instrument was ready, the notes carried over and the notes
    that waited; no note is left sounding; the advice names scene, output and remedy."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    assert bayleaf("rehearse", rig, played, "--input", "keys", "--out", tmp_path / "out")[0] == 0
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    change = report["scene_changes"][1]
    assert (change["number"], change["name"], change["at"], change["notes_carried_over"]) == (2, "<script>Two", 1.0, 1)
    assert change["burst_bytes"] == 8
    assert change["ready_ms"] == pytest.approx(8 * 0.32 + 30)
    assert change["notes_that_waited"] == 1
    assert change["worst_wait_ms"] == pytest.approx(8 * 0.32 + 30)
    assert report["notes_left_sounding"] == 0
    assert (report["messages_in"], report["messages_out"]) == (5, 12)
    assert [each["sound"] for each in report["instruments"]["lead"]["programs"]] == ["<i>Pad", "Other"]
    assert any(
        "<script>Two" in text
        and "strings is ready 33 ms after the change (3 ms on the cable, 30 ms settling); one note waits up to 33 ms"
        in text
        for text in report["findings"]
    )


class _Page(HTMLParser):
    """Collects tags, and names that must not come through as markup."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.outside: list[str] = []
        self.text = io.StringIO()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.outside += [value or "" for key, value in attrs if key in ("src", "href")]

    def handle_data(self, data: str) -> None:
        self.text.write(data)


def test_the_page_stands_alone_and_escapes_every_name(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """The page has no script and fetches nothing; names are text, never markup; each picture has a text alternative."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    bayleaf("rehearse", rig, played, "--input", "keys", "--out", tmp_path / "out")
    (file,) = (tmp_path / "out").glob("*.html")
    content = file.read_text(encoding="utf-8")
    read = _Page()
    read.feed(content)
    assert "script" not in read.tags
    assert "link" not in read.tags
    assert "i" not in read.tags
    assert read.outside == []
    assert "url(" not in content
    assert '<b>brass & "co"' in read.text.getvalue()
    assert content.count("<svg") == content.count('role="img"') > 0
    assert "prefers-color-scheme:dark" in content


def _contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours given as "#rrggbb" (WCAG 2.2, definition of contrast ratio)."""

    def light(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_page_can_be_read_in_light_in_dark_and_on_paper() -> None:
    """Text contrasts with its background by 4.5 to 1, pictures by 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11). Paper is white,
    so the dark colours apply to screens only."""
    style = (Path(report_page.__file__).parent / "page.css").read_text(encoding="utf-8")
    light, dark = (
        dict(each.split(":") for each in found.replace("--", "").split(";"))
        for found in re.findall(r":root\{(--[^}]*)\}", style)
    )
    for colours in (light, {**light, **dark}):
        for words, behind in (("ink", "paper"), ("soft", "card"), ("leaf", "paper"), ("warn", "warnbg")):
            assert _contrast(colours[words], colours[behind]) >= 4.5, words
        for marks in ("note", "load", "change", "warn"):
            assert _contrast(colours[marks], colours["card"]) >= 3, marks
    assert "@media screen and (prefers-color-scheme:dark){:root" in style


def test_a_track_name_is_no_command_to_the_terminal(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """Control codes in the name of a track, from a file by somebody else, are printed as escapes."""
    file = song(tmp_path / "a.mid", ("\x1b]0;mine\x07\x1b[2Jothers", [mido.Message("note_on", note=60)]))
    said = bayleaf("rehearse", rig, file, "--input", "horn=keys", "--out", tmp_path / "out")
    assert said.status == 1
    assert r"it has 1 \x1b]0;mine\x07\x1b[2Jothers" in said.err
    assert "\x1b" not in said.err


def test_tracks_may_go_to_inputs_of_their_own(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """TRACK=NAME sends one track, by name or number; without --input a track goes to the input of the same name."""
    note = [mido.Message("note_on", note=60, time=480), mido.Message("note_off", note=60, time=480)]
    played = song(tmp_path / "a.mid", ("left", note), ("right", note))
    out = tmp_path / "out"
    assert bayleaf("rehearse", rig, played, "--input", "left=keys", "--input", "2=pads", "--out", out)[0] == 0
    report = json.loads((out / "report.json").read_text())
    assert {name: found["messages"] for name, found in report["inputs"].items()} == {"keys": 2, "pads": 2}
    named = song(tmp_path / "b.mid", ("keys", note), ("others", note))
    assert bayleaf("rehearse", rig, named, "--out", out)[0] == 0
    report = json.loads((out / "report.json").read_text())
    assert {name: found["messages"] for name, found in report["inputs"].items()} == {"keys": 2, "pads": 0}
    assert any("no input plays track 2 others" in text for text in report["findings"])
    assert "Nothing to fix" not in (out / "report.html").read_text()


@pytest.mark.parametrize(
    ("arguments", "status", "expected"),
    [
        (("--input", "organ", "--out", "x"), 1, 'there is no input "organ"'),
        (("--input", "horn=keys", "--out", "x"), 1, 'there is no track "horn"'),
        (("--input", "keys", "--input", "pads", "--out", "x"), 1, "for several give each its track"),
        (("--out", "x"), 1, "say which input plays"),
        (("--input", "keys", "--scene", "9", "--out", "x"), 1, "there is no scene 9"),
        (("--input", "keys"), 2, "--out"),
        (("--input", "organ"), 1, 'there is no input "organ"'),
        (("--input", "keys", "--expect", "nowhere"), 1, "is not a folder"),
    ],
)
def test_what_is_wrong_is_reported(
    bayleaf: Bayleaf, rig: Path, tmp_path: Path, arguments: tuple[str, ...], status: int, expected: str
) -> None:
    """An error gives one sentence on stderr, and nothing is written."""
    played = song(tmp_path / "a.mid", ("t", held_over_a_change()))
    got, _, err = bayleaf("rehearse", rig, played, *(tmp_path / a if a == "x" else a for a in arguments))
    assert got == status
    assert expected in err
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("content", [b"", b"MThd", b"RIFFxxxxRMIDdata", b"MThd\0\0\0\6\0\1\0\1\0\0", b"\xff" * 99])
def test_a_file_that_is_no_song_is_reported(bayleaf: Bayleaf, rig: Path, tmp_path: Path, content: bytes) -> None:
    """A file that is not a Standard MIDI File gives one sentence with the file's name, and status 1."""
    (tmp_path / "a.mid").write_bytes(content)
    status, _, err = bayleaf("rehearse", rig, tmp_path / "a.mid", "--input", "keys", "--out", tmp_path / "out")
    assert status == 1
    assert "a.mid" in err
    assert not (tmp_path / "out").exists()


def test_expect_passes_the_same_and_fails_one_byte(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """`--expect` gives 0 for an identical run; if one byte of a note or program differs, it gives 1 and says where."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    kept, again = tmp_path / "kept", tmp_path / "again"
    run = ("rehearse", rig, played, "--input", "keys")
    assert bayleaf(*run, "--out", kept)[0] == 0
    assert bayleaf(*run, "--out", again, "--expect", kept)[0] == 0
    rig.write_text(rig.read_text().replace("program = 13", "program = 14"))
    status, out, err = bayleaf(*run, "--expect", kept)
    assert status == 1
    assert "strings at 0:01.002, bar 1:3: missing: channel 1 program 13 (C0 0C)" in out
    assert "differs" in err
    for file in kept.glob("*.mid"):
        content = bytearray(file.read_bytes())
        if 0x64 in content:  # a velocity
            content[content.index(0x64)] ^= 1
            file.write_bytes(content)
    rig.write_text(rig.read_text().replace("program = 14", "program = 13"))
    assert bayleaf(*run, "--expect", kept)[0] == 1


def test_a_kept_run_that_lost_a_file_differs(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """A file missing from the kept run, or one that does not belong to it, is a difference."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    run = ("rehearse", rig, played, "--input", "keys")
    bayleaf(*run, "--out", tmp_path / "kept")
    (tmp_path / "kept" / "strings.mid").rename(tmp_path / "kept" / "harp.mid")
    status, out, _ = bayleaf(*run, "--expect", tmp_path / "kept")
    assert status == 1
    assert "has no file for strings" in out
    assert "no output harp" in out
    assert "every message of 1 output is the same" in out  # a missing output is not reported message by message
    assert ": new:" not in out


def test_against_tells_what_an_edit_changes(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """`--against` also plays the song through the old rig: what is missing, new, earlier or later, note by note."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    old = tmp_path / "old.toml"
    old.write_text(RIG.replace("SETTLE", "10 ms"), encoding="utf-8")
    run = ("rehearse", rig, played, "--input", "keys", "--against", old)
    status, out, _ = bayleaf(*run)
    assert status == 0
    assert "strings: 1 moved" in out
    assert "20.0 ms later: channel 1 note on E4 velocity 90" in out
    status, out, _ = bayleaf(*run, "--json", "--out", tmp_path / "out")
    assert json.loads(out)["against"]["differences"][0]["moved_ms"] == pytest.approx(20, abs=0.05)
    assert json.loads((tmp_path / "out" / "report.json").read_text())["against"]["count"] == 1
    content = (tmp_path / "out" / "report.html").read_text()
    assert f"<h2>Against the rig {old}</h2>" in content
    assert "<td>20.0&nbsp;ms later</td><td>channel 1 note on E4 velocity 90</td>" in content
    assert bayleaf(*run[:-1], rig, "--out", tmp_path / "out")[0] == 0
    assert "Every message is the same." in (tmp_path / "out" / "report.html").read_text()


def test_differences_name_notes_as_the_gear_prints_them(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """`[rig] middle_c` holds for the differences, in the terminal and in JSON (60 is C4 without it)."""
    played, old, new = (
        song(tmp_path / "a.mid", ("", held_over_a_change())),
        tmp_path / "old.toml",
        tmp_path / "new.toml",
    )
    text = RIG.replace("format = 1", 'format = 2\n[rig]\nmiddle_c = "C3"')
    for file, settle in ((old, "10 ms"), (new, "30 ms")):
        file.write_text(text.replace("SETTLE", settle), encoding="utf-8")
    run = ("rehearse", new, played, "--input", "keys", "--against", old)
    assert "20.0 ms later: channel 1 note on E3 velocity 90" in bayleaf(*run).out
    differences = json.loads(bayleaf(*run, "--json").out)["against"]["differences"]
    assert differences[0]["words"] == "channel 1 note on E3 velocity 90"


def test_what_is_not_ours_is_left_alone(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """A file of that name that a rehearsal did not write, or that was changed since, stays, and the run says so; files
    of an earlier run are overwritten."""
    played = song(tmp_path / "a.mid", ("", held_over_a_change()))
    out = tmp_path / "out"
    out.mkdir()
    (out / "strings.mid").write_bytes(b"my own")
    (out / "notes.txt").write_text("mine")
    run = ("rehearse", rig, played, "--input", "keys", "--out", out)
    status, _, err = bayleaf(*run)
    assert status == 1
    assert "left alone" in err
    assert sorted(file.name for file in out.iterdir()) == ["notes.txt", "strings.mid"]
    assert (out / "strings.mid").read_bytes() == b"my own"
    (out / "strings.mid").unlink()
    assert bayleaf(*run)[0] == 0
    assert bayleaf(*run)[0] == 0
    (out / "report.html").write_text("changed")
    assert bayleaf(*run)[0] == 1
    assert (out / "report.html").read_text() == "changed"


def test_time_code_of_the_rig_recalls_scenes(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """A scene with `at` is recalled when the rig's own time code reaches it; one that is never reached is reported."""
    text = rig.read_text().replace('name = "<script>Two"', 'name = "Two"\nat = "00:00:01:05"')
    rig.write_text(text + '[sync.timecode]\nrate = "25"\nrun = true\nto = ["strings"]\n')
    played = song(tmp_path / "a.mid", ("", [mido.Message("note_on", note=60, velocity=0, time=480 * 4)]))
    run = ("rehearse", rig, played, "--input", "keys", "--out", tmp_path / "out")
    assert bayleaf(*run)[0] == 0
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert [(each["at"], each["by"]) for each in report["scene_changes"]] == [
        (0.0, "start"),
        (pytest.approx(1.2, abs=0.041), "time code"),
    ]
    rig.write_text(rig.read_text().replace("00:00:01:05", "00:10:00:00"))
    assert bayleaf(*run)[0] == 0
    findings = json.loads((tmp_path / "out" / "report.json").read_text())["findings"]
    assert "Two is due at 00:10:00:00, which the time code never reached" in findings


def test_a_scene_that_cannot_be_recalled_is_something_to_fix(bayleaf: Bayleaf, rig: Path, tmp_path: Path) -> None:
    """A program that recalls a scene missing from the rig is listed once among what to fix."""
    asking = [mido.Message("program_change", program=8, time=480) for _ in range(3)]
    played = song(tmp_path / "a.mid", ("", [*asking, *held_over_a_change()]))
    status, out, _ = bayleaf("rehearse", rig, played, "--input", "keys", "--out", tmp_path / "out")
    assert status == 0
    expected = (
        "0:00.500, bar 1:2, the first of three times: keys, channel 1 program 9: there is no scene 9; nothing changed"
    )
    assert out.count("there is no scene 9") == 1
    assert expected in json.loads((tmp_path / "out" / "report.json").read_text())["findings"]


def test_the_demo_can_be_rehearsed(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """The demo's music through the demo's rig: four scenes, no note left sounding, every instrument on its sound."""
    status, out, _ = bayleaf("rehearse", DEMO, SONG, "--out", tmp_path / "out")
    assert status == 0
    assert "0 notes left sounding" in out
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert [each["number"] for each in report["scene_changes"]] == [11, 12, 13, 14]
    assert all(each["sound"] for gear in report["instruments"].values() for each in gear["programs"])
