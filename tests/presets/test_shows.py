"""The shows among the presets do what their long forms do, in fewer lines. (Our own data; no outside source.)"""

import pytest

from engine.offline.scene_proof import CompiledSide, SceneProof
from engine.offline.silent_ways import SilentWays
from engine.offline.simplified_rig import simplified
from engine.offline.sound_conflicts import sound_conflicts
from engine.rig.models.rig import Rig
from engine.rig.read.load import load, read
from tests.support.paths import PRESETS
from tests.support.written_out import written_out

SHOWS = {file.stem: file for file in sorted((PRESETS / "shows").glob("*.toml"))}
LINES = {"theatre": 420}


def _differences(before: Rig, after: Rig) -> list[str]:
    one, other = CompiledSide(before), CompiledSide(after)
    proof, whole = SceneProof(one, other), other.lowering.scenes.whole
    found = [proof.difference(a, whole(b)) for a, b in zip(before.scenes, after.scenes, strict=True)]
    return [each for each in found if each is not None]


@pytest.mark.parametrize("name", SHOWS)
def test_a_show_does_what_its_long_form_does(name: str) -> None:
    """Each scene treats every message alike and sends the same burst; so does what `simplify` makes of the long form,
    in at most half its lines."""
    rig = load(SHOWS[name])
    text = written_out(rig)
    long = read(text, "long.toml")
    assert _differences(long, rig) == []
    made = simplified(text, "long.toml")
    assert _differences(long, read(made.text, "short.toml")) == []
    assert len(SHOWS[name].read_text().splitlines()) <= LINES.get(name, len(text.splitlines()))


@pytest.mark.parametrize("name", SHOWS)
def test_everything_in_a_show_can_be_heard(name: str) -> None:
    """No warning of `check`."""
    rig = load(SHOWS[name])
    assert [*map(str, (*SilentWays(rig).findings(), *sound_conflicts(rig)))] == []


def test_the_theatre_has_its_size() -> None:
    """Two players, 120 cues and 12 chains in at most 420 lines; written out they are five times as many."""
    rig = load(SHOWS["theatre"])
    assert (len(rig.scenes), len(rig.chains)) == (120, 12)
    assert all(scene.cue is not None for scene in rig.scenes)
    text = written_out(rig)
    assert len(text.splitlines()) > 1800
    assert len(simplified(text, "long.toml").text.splitlines()) <= len(text.splitlines()) / 2
