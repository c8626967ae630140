"""A rehearsal in a process of its own, for who must not wait for it: plays a song, and answers with the report.

Started as `python -m engine.offline.rehearsal_process SECONDS` it takes one JSON object from its standard input and
writes one to its standard output. A song that needs too much memory or time ends it, and nothing else.
"""

import base64
import contextlib
import json
import resource
import signal
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from engine.give_way import give_way
from engine.offline.rehearsal_run import rehearse
from engine.offline.report_page import page
from engine.offline.song import SongError, read_song
from engine.rig.read.load import RigError, read, text_of

_MEMORY: Final = 1 << 30  # bytes of address space
_LARGEST: Final = 4_000_000  # characters of a report's page that a browser is sent


def report(file: str, name: str, song: str, wanted: str, scene: int | None) -> dict[str, Any]:
    """What a rehearsal finds: `song` in base 64, `wanted` the input that plays all of it, or "" as its tracks say.

    Raises RigError, and ValueError with a sentence.
    """
    path = Path(file)
    rig = read(text_of(path), file)
    if scene is not None and rig.scene(scene) is None:
        raise ValueError(f"there is no scene {scene} in {file}")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "song.mid"
        place.write_bytes(base64.b64decode(song, validate=True))
        try:
            music = read_song(place, list(rig.inputs), [wanted] if wanted else [])
        except SongError as fault:
            raise ValueError(str(fault).replace(str(place), name)) from None
    found = rehearse(rig, music, scene, lambda part: None)
    facts: dict[str, Any] = {**found.report, "song": name}
    shown = page(facts, found.done)
    text = (
        f"{name} through {facts['rig']}: {facts['seconds']:.0f} s, {facts['messages_in']:,} messages in, "
        f"{facts['messages_out']:,} out, {facts['notes_left_sounding']} notes left sounding"
    )
    too_long = ["the report is too long for the page: bayleaf rehearse writes it"] if len(shown) > _LARGEST else []
    return {
        "text": text,
        "findings": list(facts["findings"]),
        "remarks": [*facts["remarks"], *too_long],
        "page": "" if too_long else shown,
    }


def _main() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is meant for who started us
    give_way(0)
    with contextlib.suppress(ValueError, OSError):  # a lower limit may be in force, or none can be set
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    signal.alarm(int(sys.argv[1]))
    asked = json.load(sys.stdin)
    try:
        answer = report(**asked)
    except (RigError, ValueError) as fault:
        answer = {"wrong": str(fault)}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    _main()
