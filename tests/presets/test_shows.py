"""The shows among the presets do what their long forms do, in fewer lines. (Our own data; no outside source.)"""

import pytest

from engine import handbook
from engine.midi.kinds import is_press
from engine.offline.parameter_units import SentMessage
from engine.offline.performance_comparison import differences
from engine.offline.rehearsal import Performance
from engine.offline.rehearsal_run import rehearse
from engine.offline.scene_proof import CompiledSide, SceneProof
from engine.offline.silent_ways import SilentWays
from engine.offline.simplified_rig import simplified
from engine.offline.song import Played, Song
from engine.offline.song_time import SongTime
from engine.offline.sound_conflicts import sound_conflicts
from engine.rig.models.rig import Rig
from engine.rig.read.load import load, read
from tests.support.paths import PRESETS
from tests.support.written_out import written_out

SHOWS = {file.stem: file for file in sorted((PRESETS / "shows").glob("*.toml"))}
#: the same; what goes through all scenes of the theatre takes long
LONG_OR_NOT = [pytest.param(name, marks=[pytest.mark.slow] * (name == "theatre")) for name in SHOWS]
LINES = {"theatre": 420}
MS = 1_000_000


def _song(inputs: int) -> Song:
    """A phrase on each input: a scale over the keyboard with pedal, bend and wheel, a program button, a chord."""
    played, now = [], 0
    for source in range(inputs):
        for text in ("C0 05", "B0 40 7F", "B0 01 30", "E0 00 60", "90 30 40 ", "90 3C 50", "90 54 70", "99 24 64"):
            played.append(Played(now, source, bytes.fromhex(text)))
            now += 20 * MS
        for key in range(24, 108, 7):
            played.append(Played(now, source, bytes((0x90, key, key))))
            played.append(Played(now + 40 * MS, source, bytes((0x80, key, 0))))
            now += 50 * MS
        for text in ("80 30 00", "80 3C 00", "80 54 00", "89 24 00", "B0 40 00", "B0 01 00", "E0 00 40", "B0 7B 00"):
            played.append(Played(now, source, bytes.fromhex(text)))
            now += 20 * MS
    return Song("phrase.mid", SongTime(), played, now)


def _differences(before: Rig, after: Rig) -> list[str]:
    one, other = CompiledSide(before), CompiledSide(after)
    proof, whole = SceneProof(one, other), other.lowering.scenes.whole
    found = [proof.difference(a, whole(b)) for a, b in zip(before.scenes, after.scenes, strict=True)]
    return [each for each in found if each is not None]


@pytest.mark.parametrize("name", LONG_OR_NOT)
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


@pytest.mark.parametrize("name", LONG_OR_NOT)
def test_a_show_can_be_rehearsed(name: str) -> None:
    """A phrase on every input in each scene (of the theatre's, in each twentieth): something sounds, nothing is left
    sounding, and the long form sends the same messages at the same times."""
    rig = load(SHOWS[name])
    long, played = read(written_out(rig), "long.toml"), rig.model_copy(update={"controls": ()})
    song = _song(len(rig.inputs))
    for scene in rig.scenes[:: 20 if len(rig.scenes) > 20 else 1]:
        done, before = (rehearse(each, song, scene.number, lambda part: None).done for each in (played, long))
        assert done.hanging == []
        assert any(is_press(each.message) for sent in done.sent.values() for each in sent)
        assert differences(_sent(before), _sent(done)) == []


def _sent(done: Performance) -> dict[str, list[SentMessage]]:
    return {name: [SentMessage(each.start, each.message) for each in sent] for name, sent in done.sent.items()}


def test_the_chapter_has_the_figures() -> None:
    """Lines before and after, as "Five rigs" has them."""
    page = handbook.pages()["five-rigs"].text
    for name, file in SHOWS.items():
        rig, text = load(file), file.read_text()
        before, after = (f"{len(each.splitlines()):,}" for each in (written_out(rig), text))
        assert f"| `{name}.toml` | {len(rig.scenes)} | {before} | {after} |" in page, (name, before, after)


@pytest.mark.slow
def test_the_theatre_has_its_size() -> None:
    """Two players, 120 cues and 12 chains in at most 420 lines; written out they are five times as many."""
    rig = load(SHOWS["theatre"])
    assert (len(rig.scenes), len(rig.chains)) == (120, 12)
    assert all(scene.cue is not None for scene in rig.scenes)
    text = written_out(rig)
    assert len(text.splitlines()) > 1800
    assert len(simplified(text, "long.toml").text.splitlines()) <= len(text.splitlines()) / 2
