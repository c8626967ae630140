"""`bayleaf simplify`, as a user types it: prints, or writes a new file, and never over one."""

import json
from pathlib import Path

from tests.support.bayleaf_command import Bayleaf
from tests.support.paths import PRESETS

RIG = """# our pit
format = 1
[inputs]
keys = { port = "Stage piano*" }
pads = { port = "Drum pads*" }
pedals = { port = "Foot controller*" }
[outputs]
bass = { port = "Eight-way box*3", wire = "din" }
brass = { port = "Eight-way box*2" }
[instruments.bass-box]
output = "bass"
channel = 2
sounds = { "Upright" = { program = 33 } }
[[scenes]]
number = 12
name = "Street at night"
routes = [
  { from = "keys", to = "bass", through = [
    { filter = "channels", keep = [1], map = { 1 = 2 } },
    { filter = "zone", notes = ["C-1", "B3"] },
  ] },
  { from = "pads", to = "brass" },
]
burst = [
  { instrument = "bass-box", sound = "Upright" },
]
"""


def test_simplify_prints_and_writes(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """On stdout the rig and nothing else; on stderr what stayed, how much shorter it is, and that it does the same."""
    rig, new = tmp_path / "pit.toml", tmp_path / "new.toml"
    rig.write_text(RIG)
    said = bayleaf("simplify", str(rig))
    assert said.status == 0
    assert (
        '{ from = "keys", on = "bass-box", sound = "Upright", notes = "..B3", channel = 1, programs = true }'
        in said.out
    )
    assert said.err.splitlines() == [
        "note: every channel passes as it comes in, and a line plays one; it stays a route: route 2 of scene 12",
        "note: if all inputs send on one channel, say which: --channel N makes lines of more routes",
        "note: lines with programs = true pass program changes, bank selects and mode messages as their routes did; "
        "take it away where nobody needs them",
        "20 lines instead of 26; every scene does the same to every message",
    ]
    assert bayleaf("simplify", str(rig), "--out", str(new)).status == 0
    assert new.read_text() == said.out
    again = bayleaf("simplify", str(rig), "--out", str(new))
    assert (again.status, rig.read_text()) == (1, RIG)
    assert "already exists and was left alone" in again.err
    found = json.loads(bayleaf("simplify", str(rig), "--json").out)
    assert (found["text"], found["lines_before"], found["lines"]) == (said.out, 26, 20)
    assert bayleaf("simplify", str(new)).status == 1


def test_a_rehearsal_of_both_is_equal(bayleaf: Bayleaf, tmp_path: Path) -> None:
    """A song through the rig and through its simplified form gives the same messages at the same times."""
    rig, new = tmp_path / "pit.toml", tmp_path / "new.toml"
    rig.write_text(RIG)
    assert bayleaf("simplify", str(rig), "--out", str(new)).status == 0
    said = bayleaf("rehearse", str(new), str(PRESETS / "demo.mid"), "--against", str(rig))
    assert said.status == 0
    assert "every message of 2 outputs is the same" in said.out
