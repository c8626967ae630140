"""`bayleaf status` on one screen: what is wrong first, the rest folded as far as it must be. (Our own design.)"""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.cli.status_screen import status_on_screen, whole_status

MORE = "bayleaf status --all shows everything"


def _port(name: str, state: str = "open", **more: Any) -> dict[str, Any]:
    return {
        "name": name,
        "state": state,
        "messages": 12,
        "bytes": 36,
        "dropped": 0,
        "shed": 0,
        "last_error": None,
    } | more


def found(**more: Any) -> dict[str, Any]:
    """A status as the engine gives it, of a rig without trouble."""
    plain: dict[str, Any] = {
        "rig": "Lantern Street pit band",
        "scene": {"number": 12, "name": "Street at night"},
        "setlist": {"name": "Friday", "place": 2, "scenes": [11, 12, 13]},
        "loaded": None,
        "song": None,
        "step": 0,
        "players": {},
        "sounding": 3,
        "inputs": [_port("keys"), _port("pedals")],
        "outputs": [_port("strings"), _port("brass")],
        "sounds": {"string-machine": "Warm pad", "brass-module": None},
        "channels": {"string-machine": 11},
        "tempo": None,
        "timecode": None,
        "muted_routes": [],
        "muted": [],
        "filter_faults": {},
        "latency": {"p50_ms": 0.21, "p99_ms": 0.5, "p99_9_ms": 0.8, "worst_ms": 1.2},
        "scheduling": "ordinary scheduling: this login may not ask for real-time scheduling (rtprio, see limits.conf)",
        "compiled": True,
        "driver": "JACK through one client",
        "recorder": {"seconds": 100, "events": 2000},
        "refused_rig": None,
        "log": {"file": "/home/pit/.local/state/bayleaf/bayleaf.log", "faults": 0, "error": None},
        "panel_log": None,
    }
    return plain | more


def big(count: int, missing: int = 0) -> dict[str, Any]:
    """A rig with this many ports each way, the first outputs missing, and a sound on each."""
    outputs = [
        _port(f"rack-{number}", *(("missing",) if number < missing else ()), last_error="no port matches it")
        for number in range(count)
    ]
    sounds = {f"module {number}": f"Sound {number}" for number in range(count)}
    return found(inputs=[_port(f"keys-{number}") for number in range(count)], outputs=outputs, sounds=sounds)


def test_a_small_rig_is_shown_whole() -> None:
    """What fits is not folded: each port has its line, each instrument its sound."""
    shown = status_on_screen(found(), 80, 23)
    assert shown[:2] == [
        "Lantern Street pit band: scene 12 Street at night",
        "set list Friday: place 2 of 3; 3 notes sounding",
    ]
    assert [line.split()[:3] for line in shown if line.strip().startswith(("keys", "strings"))] == [
        ["keys", "open", "12"],
        ["strings", "open", "12"],
    ]
    assert "string-machine: Warm pad (on channel 11)" in shown
    assert "brass-module: a sound without a name" in shown
    assert MORE not in shown
    assert len(shown) <= 23


def test_a_large_rig_is_folded_with_what_is_wrong_first() -> None:
    """Of many ports and sounds one line each is left; missing outputs come right below the scene, by name."""
    shown = status_on_screen(big(32, missing=6), 80, 23)
    assert shown[2] == "! 6 of 32 outputs are missing: rack-0, rack-1, rack-2, rack-3 and 2 more"
    assert "inputs: 32 open; 384 messages" in shown
    assert "outputs: 6 missing, 26 open; 384 messages" in shown
    assert "sounds: module 0: Sound 0, module 1: Sound 1, module 2: Sound 2, module 3: Sound" in shown
    assert shown[-1] == MORE


def test_all_shows_every_port_sound_and_reason() -> None:
    """Whole, each missing port has its reason, each port its line and each instrument its sound."""
    shown = whole_status(big(32, missing=6))
    assert sum(line.endswith("is missing: no port matches it") for line in shown) == 6
    assert sum(line.strip().startswith("keys-") for line in shown) == 32
    assert sum(": Sound " in line for line in shown) == 32


def test_the_cue_and_the_text_of_the_scene_are_shown() -> None:
    """They are there for the player; a long text is cut."""
    scene = {"number": 12, "name": "Street at night", "cue": "14.5", "text": "watch the drummer, bar 40"}
    shown = status_on_screen(found(scene=scene), 100, 23)
    assert shown[:2] == [
        "Lantern Street pit band: scene 12 Street at night (cue 14.5)",
        "watch the drummer, bar 40",
    ]
    assert len(status_on_screen(found(scene=scene | {"text": "wait " * 200}), 80, 23)) <= 23


def test_the_text_of_the_song_is_shown_below_it() -> None:
    song = {"name": "Market", "transpose": 2, "text": "second verse\nis cut"}
    shown = status_on_screen(found(song=song), 100, 23)
    place = next(place for place, line in enumerate(shown) if line.startswith("song Market"))
    assert shown[place + 1] == "second verse is cut"


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        ({"inputs": [_port("keys", "silent")]}, "! active sensing has stopped at keys"),
        ({"outputs": [_port("strings", shed=4)]}, "! messages were left out at strings"),
        ({"filter_faults": {"octaves": 2}}, "! filter octaves failed 2 times and was bypassed"),
        ({"log": {"file": "/x.log", "faults": 1, "error": None}}, "! 1 fault of Bayleaf itself; see the fault log"),
        ({"refused_rig": "pit.toml:3: no"}, "! the rig file on disk was rejected; the current rig keeps playing:"),
    ],
)
def test_what_is_wrong_is_below_the_scene(trouble: dict[str, Any], words: str) -> None:
    """Each kind of trouble is in the third line, marked with an exclamation mark."""
    assert status_on_screen(found(**trouble), 100, 23)[2] == words


@settings(deadline=None, max_examples=60)
@given(
    count=st.integers(0, 60),
    missing=st.integers(0, 60),
    loops=st.integers(0, 40),
    refused=st.integers(0, 60),
    width=st.sampled_from((80, 120)),
)
def test_any_rig_fits(count: int, missing: int, loops: int, refused: int, width: int) -> None:
    """However much there is and however much is wrong, it is never longer than the screen, nor wider."""
    shown = status_on_screen(
        big(count, missing)
        | {
            "muted": [{"input": f"keys-{number}", "output": f"rack-{number}"} for number in range(loops)],
            "refused_rig": "\n".join(["pit.toml:3: scenes.1.routes.1.from: " + "no such input " * 12] * refused)
            or None,
        },
        width,
        23,
    )
    assert len(shown) <= 23
    assert max(map(len, shown)) <= width
    assert shown[0].startswith("Lantern Street")


def test_each_player_has_a_line() -> None:
    """Where many players are too many for the screen, they are named in one."""
    theirs = {"scene": {"number": 21, "name": "Fanfare"}, "setlist": "Anna, act 1", "place": 1, "scenes": [21, 22]}
    anna = {**theirs, "song": None, "step": 1}
    assert "anna: scene 21 Fanfare; set list Anna, act 1: place 1 of 2; transposed by +1" in whole_status(
        found(players={"anna": anna, "ben": {**anna, "scene": None}})
    )
    shown = status_on_screen(found(players={f"anna-{number}": anna for number in range(100)}), 100, 24)
    assert len(shown) <= 24
    assert any("and 96 more" in line for line in shown)
