"""Routes, lines and instruments that nobody can hear are found by asking the compiled scenes. (Our own rules.)"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.routing.compiled_scene import SceneCompiler
from engine.core.routing.filter_chain import FilterFaults, run_chain
from engine.offline.asked_paths import PathAsker
from engine.offline.silent_ways import SilentWays
from engine.offline.sound_conflicts import sound_conflicts
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig
from engine.rig.read.load import load, read
from engine.rig.starter_rig import KINDS, starter_of
from filters.registry import registry
from tests.support.paths import PRESETS
from tests.support.play_rig import GEAR, play_rig, scene

ALL_TO_1 = "{ " + ", ".join(f"{channel} = 1" for channel in range(1, 17)) + " }"
HEARD = 'play = [ { from = "keys", on = "bass" }, { from = "keys", on = "brass" }, { from = "keys", on = "kit" } ]'
#: a route of the scene, and what is said of it
SILENT = {
    "the wrong channel": (
        f'{{ from = "keys", to = "left", through = [ {{ filter = "channels", map = {ALL_TO_1} }} ] }}',
        "scene route 1 from keys ends on channel 1 of left, where nothing listens; these do: bass on 2, brass on 3. "
        'Send it on channel 2, or write play = [{ from = "keys", on = "bass" }]',
    ),
    "two zones": (
        '{ from = "keys", to = "left", through = [ { filter = "zone", notes = "..B3" }, '
        '{ filter = "zone", notes = "C4.." } ] }',
        'scene route 1 from keys lets no note through: all that reach the filter "zone" are outside its range; '
        "compare it with the ranges before it",
    ),
    "transposed away": (
        '{ from = "keys", to = "left", through = [ { filter = "zone", notes = "C4.." }, '
        '{ filter = "transpose", semitones = 120 } ] }',
        'scene route 1 from keys lets no note through: all that reach the filter "transpose" are outside its range; '
        "compare it with the ranges before it",
    ),
    "two velocities": (
        '{ from = "keys", to = "left", through = [ { filter = "velocity", fixed = 80 }, '
        '{ filter = "zone", velocity = "81.." } ] }',
        'scene route 1 from keys lets no note through: all that reach the filter "zone" are outside its range; '
        "compare it with the ranges before it",
    ),
    "two channels, a clock": (
        '{ from = "keys", to = "left", through = [ { filter = "channels", keep = [1] }, '
        '{ filter = "channels", keep = [2] } ] }',
        'scene route 1 from keys lets no note through: all that reach the filter "channels" are on channels that it '
        "stops; compare it with the channels before it",
    ),
    "two channels": (
        '{ from = "keys", to = "left", through = [ { filter = "channels", keep = [1] }, '
        '{ filter = "channels", keep = [2] }, { filter = "strip", kinds = ["sysex", "clock", "transport", "timecode", '
        '"song_position", "song_select", "tune_request", "active_sensing", "reset"] } ] }',
        'scene route 1 from keys lets nothing through; the filter "channels" stops the last that is left; '
        "change it or take it out",
    ),
}
#: what is meant so, and can be heard
MEANT = (
    '{ from = "keys", to = "left" }',
    '{ from = "keys", to = "left", through = [ { filter = "strip", kinds = ["notes"] } ] }',
    '{ from = "keys", to = "left", through = [ { filter = "controllers", keep = [11] } ] }',
    '{ from = "keys", to = "left", through = [ { filter = "zone", notes = "G9..", velocity = "127.." } ] }',
    '{ from = "keys", to = "left", through = [ { filter = "channels", keep = [16], map = { 16 = 3 } } ] }',
    '{ from = "keys", to = "left", through = [ { filter = "latch", controllers = [64] } ] }',
    '{ from = "keys", to = "left", through = [ { filter = "strip", kinds = ["notes", "poly_aftertouch", "controllers", '
    '"channel_mode", "program", "aftertouch", "pitch_bend"] } ] }',  # a clock alone
)


def _said(rig: Rig) -> list[str]:
    return [found.text for found in SilentWays(rig).findings()]


@pytest.mark.parametrize("route", SILENT.values(), ids=SILENT)
def test_a_silent_route_is_found(route: tuple[str, str]) -> None:
    """By its channel, its ranges or its filters, with the place in the file and what to do."""
    written, said = route
    found = [*SilentWays(play_rig(scene(1, HEARD, f"routes = [ {written} ]"))).findings()]
    assert [(each.keys, each.text) for each in found] == [(("scenes", 0, "routes", 0), said)]


@pytest.mark.parametrize("written", MEANT)
def test_what_can_be_heard_raises_no_alarm(written: str) -> None:
    """A route without notes, for one channel, for one key struck as hard as can be, or for a clock alone."""
    assert _said(play_rig(scene(1, HEARD, f"routes = [ {written} ]"))) == []


def test_an_inherited_line_is_reported_where_it_is_written() -> None:
    """Once, with the scene that it is from, however many scenes have it."""
    line = '{ from = "keys", on = "bass", notes = "C4..", through = [ { filter = "zone", notes = "..B3" } ] }'
    rig = play_rig(scene(1, HEARD) + scene(2, f"play = [ {line} ]") + scene(3, "like = 2"))
    places = [(found.keys, found.scene and found.scene.number) for found in SilentWays(rig).findings()]
    assert places == [(("scenes", 1, "play", 0), 2), (("scenes", 1, "play", 0), 3)]


def test_an_instrument_that_nothing_reaches_is_found() -> None:
    """What is played, put on a sound, or sent anything, is reached; the others are not."""
    line = 'play = [ { from = "keys", on = "bass" } ]'
    rig = play_rig(scene(1, line, 'enter = [ { on = "kit", send = ["pan 9"] } ]'))
    assert _said(rig) == [
        'nothing reaches the instrument brass; write play = [{ from = INPUT, on = "brass" }] in a scene, '
        "or leave the instrument out"
    ]


@pytest.mark.parametrize("kind", [*KINDS, "demo"])
def test_presets_have_no_findings(kind: str) -> None:
    """No alarm for the demo and the starter rigs."""
    rig = load(PRESETS / "demo.toml") if kind == "demo" else read(starter_of(kind), f"{kind}.toml")
    assert [*map(str, SilentWays(rig).findings())] == []
    assert [*map(str, sound_conflicts(rig))] == []


def test_what_would_take_too_long_is_left_open() -> None:
    """With nothing left to ask, no verdict is given."""
    rig = play_rig(scene(1, HEARD))
    path = SceneCompiler(rig, registry()).compile(rig.scenes[0]).own[0][0]
    assert PathAsker(0).whole(path, ()) is None


@settings(deadline=None, max_examples=5)
@given(
    notes=st.tuples(st.integers(0, 127), st.integers(0, 127)),
    velocity=st.tuples(st.integers(0, 127), st.integers(0, 127)),
    fixed=st.integers(1, 127),
    by=st.integers(-127, 127),
)
def test_the_values_asked_are_all_that_can_differ(
    notes: tuple[int, int], velocity: tuple[int, int], fixed: int, by: int
) -> None:
    """Whether a press gets through is found as by asking every key with every velocity."""
    zone = f'{{ filter = "zone", notes = {sorted(notes)}, velocity = {sorted(velocity)} }}'
    chain = f'[ {zone}, {{ filter = "transpose", semitones = {by} }}, {{ filter = "velocity", fixed = {fixed} }} ]'
    rig = play_rig(scene(1, f'routes = [ {{ from = "keys", to = "left", through = {chain} }} ]'))
    path = SceneCompiler(rig, registry()).compile(rig.scenes[0]).own[0][0]
    whole = PathAsker(10**6).whole(path, Lowering(rig).lowered(rig.scenes[0]).routes[0].through)
    every = (bytes((0x90, key, hard)) for key in range(128) for hard in range(1, 128))
    assert whole is not None
    assert bool(whole.notes) == any(run_chain(path.links, each, 0, FilterFaults()) for each in every)


def test_a_spare_channel_is_heard() -> None:
    """A route may end on a channel that an instrument listens on when its sound changes under held notes."""
    spare = GEAR.replace("channel = 3", "channel = 3\nspare = [1]")
    assert _said(play_rig(scene(1, HEARD, f"routes = [ {SILENT['the wrong channel'][0]} ]"), spare)) == []
