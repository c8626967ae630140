"""The 31 songs of the Debian package openttd-openmsx, which nobody here wrote, as mido reads them."""

import os
from functools import cache
from pathlib import Path

import mido
import pytest

FOLDER = Path("/usr/share/games/openttd/baseset/openmsx")

Song = list[tuple[int, bytes]]  # ns, message


def need_songs() -> None:
    """A player's machine need not have them: they are left out there. CI installs them, and fails without."""
    if FOLDER.is_dir():
        return
    reason = f"the Debian package openttd-openmsx is not installed ({FOLDER})"
    if os.environ.get("BAYLEAF_NO_SKIP") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@cache
def song(name: str | Path) -> Song:
    """All messages of one of them, or of a file by its whole path, tracks merged; meta events are left out."""
    file = mido.MidiFile(FOLDER / name)
    now, tempo, played = 0, 500_000, []  # µs times ticks a beat, so that nothing is rounded on the way
    for message in mido.merge_tracks(file.tracks):
        now += message.time * tempo
        if message.type == "set_tempo":
            tempo = message.tempo
        if not message.is_meta:
            played.append((round(now * 1000 / file.ticks_per_beat), bytes(message.bytes())))
    return played
