"""How long a rehearsal takes: three minutes of music through the large rig, with files and report.

    python -m bench.rehearse [--minutes 3] [--rounds 3]

Each input plays notes, bends and controllers, a third of a full DIN cable. Every message goes through a transposition
and a channel map to one output; every other output is a DIN cable. Every ten seconds a scene change puts all 32
instruments on other sounds.
"""

import argparse
import platform
import statistics
import time
from random import Random
from typing import Final

from bench.load import INPUTS, OUTPUTS
from engine.offline.rehearsal_run import rehearse
from engine.offline.song import Played, Song
from engine.offline.song_time import SongTime
from engine.rig.models.rig import Rig
from engine.rig.read.load import read

SCENES: Final = 4
S: Final = 1_000_000_000
A_SECOND: Final = 350  # messages of three bytes of each input


def rig() -> Rig:
    """The rig in which everything is routed."""
    lines = ["format = 1", "[inputs]", *(f'in{i} = {{ port = "i{i}" }}' for i in range(INPUTS)), "[outputs]"]
    lines += [
        f'out{o} = {{ port = "o{o}"{", wire = " + chr(34) + "din" + chr(34) if o % 2 else ""} }}'
        for o in range(OUTPUTS)
    ]
    for o in range(OUTPUTS):
        lines += [f"[instruments.gear{o}]", f'output = "out{o}"', "channel = 1", 'settle = "5 ms"']
    for scene in range(1, SCENES + 1):
        lines += ["[[scenes]]", f"number = {scene}", f'name = "Scene {scene}"', "routes = ["]
        for i in range(INPUTS):
            to = f"out{(i + scene) % OUTPUTS}"
            through = f'{{ filter = "transpose", semitones = {scene} }}, {{ filter = "channels", map = {{ 1 = 2 }} }}'
            lines.append(f'  {{ from = "in{i}", to = "{to}", through = [ {through} ] }},')
        steps = (f'{{ instrument = "gear{o}", bank = [{scene}, 0], program = {scene} }}' for o in range(OUTPUTS))
        lines += ["]", f"burst = [ {', '.join(steps)} ]"]
    lines += ["[[controls]]", 'input = "in0"', 'when = { program = "any" }', 'do = "scene"']
    return read("\n".join(lines), "bench")


def song(seconds: int) -> Song:
    """What the inputs play."""
    rng, played = Random(8), []
    for source in range(INPUTS):
        key = 60
        for number in range(seconds * A_SECOND):
            at = round((number + rng.random()) * S / A_SECOND)
            kind = number % 4
            if kind == 0:
                key = rng.randrange(36, 96)
                message = bytes((0x90, key, 90))
            elif kind == 2:
                message = bytes((0x80, key, 64))
            else:
                message = bytes((0xB0, 1, rng.randrange(128))) if kind == 1 else bytes((0xE0, 0, rng.randrange(128)))
            played.append(Played(at, source, message))
    played += [Played(at * S, 0, bytes((0xC0, at // 10 % SCENES))) for at in range(10, seconds, 10)]
    played.sort(key=lambda each: each.at)
    return Song("bench.mid", SongTime(), played, seconds * S)


def main() -> None:
    """Print a line of figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=3)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    music, loaded = song(round(asked.minutes * 60)), rig()
    played, drawn = [], []
    for _ in range(asked.rounds):
        begun = time.perf_counter()
        found = rehearse(loaded, music, None, lambda part: None)
        middle = time.perf_counter()
        found.files(found.report)
        drawn.append(time.perf_counter() - middle)
        played.append(middle - begun)
    assert found.report["notes_left_sounding"] == 0
    whole = statistics.median(played) + statistics.median(drawn)
    print(f"Python {platform.python_version()}, {asked.minutes:g} minutes, {INPUTS}×{OUTPUTS} ports")
    print(f"{found.report['messages_in']:,} messages in, {found.report['messages_out']:,} out")
    print(f"played and reckoned {statistics.median(played):.2f} s, page drawn {statistics.median(drawn):.2f} s")
    print(f"{whole / OUTPUTS:.3f} s an output, {music.ends / S / whole:.0f} times as fast as the show")


if __name__ == "__main__":
    main()
