"""The 31 songs of openttd-openmsx through a rig that passes everything, compared with what mido reads from them."""

from collections import Counter
from pathlib import Path

import pytest

from engine.midi.midi_file import read_smf
from engine.offline.performance_comparison import said_in
from engine.offline.rehearsal_run import rehearse
from engine.offline.song import read_song
from engine.rig.read.load import read
from tests.support.songs import PLAIN, SONGS, messages_of, song_file

MS = 1_000_000
RIG = """
format = 1
[inputs]
band = { port = "a" }
[outputs]
all = { port = "b" }
cable = { port = "c", wire = "din" }
[[scenes]]
number = 1
name = "Through"
routes = [ { from = "band", to = ["all", "cable"] } ]
"""


@pytest.mark.parametrize("number", SONGS)
def test_real_music_comes_through_note_for_note(number: int) -> None:
    """Each message leaves a fast output as mido reads it from the file, at its time; on a DIN cable every note does,
    and none before its time; no note is left sounding."""
    file = song_file(number)
    rig, expected = read(RIG, "test"), messages_of(file)
    song = read_song(file, list(rig.inputs), ["band"])
    assert song.passed_over == []
    found = rehearse(rig, song, None, lambda part: None)
    assert found.report["notes_left_sounding"] == 0
    assert found.report["messages_in"] == len(expected)
    said = said_in(found.outputs["all.mid"])
    added = len(said) - len(expected)
    # one song never releases a key: it is released at the end
    assert added == sum(output == "all" for output, _, _ in found.done.held)
    assert [each.message for each in said[: len(expected)]] == [message for _, message in expected]
    assert all(abs(each.at - at) < 0.1 * MS for each, (at, _) in zip(said, expected, strict=False))
    on_the_cable = said_in(found.outputs["cable.mid"])
    notes = Counter(message for _, message in expected if message[0] & 0xE0 == 0x80)
    assert not notes - Counter(each.message for each in on_the_cable)
    output = found.report["outputs"]["cable"]
    assert len(on_the_cable) + output["replaced"] == len(expected) + added
    assert output["shed"] == 0
    assert all(each.wait >= 0 for each in found.done.sent["cable"])
    assert output["load"]["busiest_second"]["bytes"] <= 3125  # MIDI 1.0 p. 1: 31,250 bits per second, ten per byte


def test_the_files_written_are_read_alike_by_mido(tmp_path: Path) -> None:
    """An output's file is a Standard MIDI File that mido reads exactly as we do, message for message."""
    rig = read(RIG, "test")
    found = rehearse(rig, read_song(song_file(PLAIN), ["band"], []), 1, lambda part: None)
    kept = tmp_path / "cable.mid"
    kept.write_bytes(found.outputs["cable.mid"])
    ours = said_in(kept.read_bytes())
    theirs = messages_of(kept)
    assert [each.message for each in ours] == [message for _, message in theirs]
    assert all(abs(each.at - at) < 0.001 * MS for each, (at, _) in zip(ours, theirs, strict=True))
    assert read_smf(kept.read_bytes()).complaints == []
