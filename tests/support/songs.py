"""The 31 songs of the Debian package openttd-openmsx, not written for this project, by number; found by their SHA-256.

The numbers, the SHA-256 and the figures of each are in `tests/reference/dataset.json`.
"""

import hashlib
import os
from functools import cache
from pathlib import Path
from typing import Any, Final

import mido
import pytest

from tests.support.check_values import check_value

_FOLDER: Final = Path("/usr/share/games/openttd/baseset/openmsx")
#: number -> figures of the song, measured without this program
SONGS: Final[dict[int, dict[str, Any]]] = {row["song"]: row for row in check_value("data-openmsx-files").expected}
#: 100 seconds of notes, pedals and programs
PLAIN: Final = 3
#: 11,340 messages on 12 channels, with 2,260 bends and 891 pressures among them
BUSY: Final = 29

Song = list[tuple[int, bytes]]  # ns, message


@cache
def _files() -> dict[str, Path]:
    """SHA-256 -> file."""
    return {hashlib.sha256(file.read_bytes()).hexdigest(): file for file in _FOLDER.glob("*.mid")}


def song_file(number: int) -> Path:
    """The file of a song. Without the package the test is skipped; with BAYLEAF_NO_SKIP=1, as in CI, it fails."""
    file = _files().get(SONGS[number]["sha256"])
    if file is not None:
        return file
    reason = f"song {number} of the Debian package openttd-openmsx is not installed ({_FOLDER})"
    if os.environ.get("BAYLEAF_NO_SKIP") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@cache
def song(number: int) -> Song:
    """All messages of a song, as mido reads them, tracks merged; meta events are left out."""
    return messages_of(song_file(number))


def messages_of(path: Path) -> Song:
    """The same for any file."""
    file = mido.MidiFile(path)
    now, tempo, played = 0, 500_000, []  # µs times ticks per beat, so that nothing is rounded on the way
    for message in mido.merge_tracks(file.tracks):
        now += message.time * tempo
        if message.type == "set_tempo":
            tempo = message.tempo
        if not message.is_meta:
            played.append((round(now * 1000 / file.ticks_per_beat), bytes(message.bytes())))
    return played
