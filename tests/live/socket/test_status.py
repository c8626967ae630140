"""The status of the running show, as `bayleaf status` gets it. (Our own design; standards named where used.)"""

import json
from dataclasses import replace

import pytest

from engine.core.commands import FirstScene, NextScene, RecallScene, Transpose
from engine.live.socket.status import status
from tests.support.players_rig import PLAYERS
from tests.support.small_show import MS, RIG, Bench

KEYS, PEDALS = 0, 1


@pytest.fixture
def bench() -> Bench:
    """The show in scene 2: keys to strings and brass."""
    bench = Bench()
    bench.show.apply(RecallScene(2), "shell")
    return bench


def test_it_is_plain_values(bench: Bench) -> None:
    """Whatever happened, the status survives a round trip through JSON."""
    bench.play(KEYS, "90 3C 40", "F0 7D 01 F7", "FE")
    bench.outputs["strings"].unplug()
    bench.play(KEYS, "80 3C 40")
    found = status(bench.show)
    assert json.loads(json.dumps(found)) == found


def test_what_sounds_and_what_is_off_rest(bench: Bench) -> None:
    """One key on two outputs counts as two notes; a pedal and a bend on two outputs are four controllers off rest."""
    bench.play(KEYS, "90 3C 40", "B0 40 7F", "E0 00 50")
    found = status(bench.show)
    assert (found["sounding"], found["off_rest"]) == (2, 4)
    bench.play(KEYS, "80 3C 40", "B0 40 00", "E0 00 40")
    found = status(bench.show)
    assert (found["sounding"], found["off_rest"]) == (0, 0)


def test_the_state_of_a_port(bench: Bench) -> None:
    """A port is open, missing with the reason, or silent: one that promised active sensing and broke it (p. 32)."""
    bench.play(KEYS, "FE")
    assert [port["state"] for port in status(bench.show)["inputs"]] == ["open", "open"]
    bench.now += 400 * MS
    bench.show.pump()
    assert [port["state"] for port in status(bench.show)["inputs"]] == ["silent", "open"]
    bench.play(KEYS, "90 3C 40")
    bench.outputs["strings"].unplug("the cable is out")
    bench.show.check_outputs()
    found = status(bench.show)
    assert [port["state"] for port in found["inputs"]] == ["open", "open"]
    assert [(port["state"], port["last_error"]) for port in found["outputs"]] == [
        ("missing", "the cable is out"),
        ("open", None),
    ]


def test_what_was_dropped_is_counted(bench: Bench) -> None:
    """Messages for a missing output are counted there, and nowhere else."""
    bench.outputs["strings"].unplug()
    bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert [port["dropped"] for port in status(bench.show)["outputs"]] == [2, 0]


def test_what_a_slow_wire_did(bench: Bench) -> None:
    """On a DIN cable, controller values that a newer one overtook are counted as replaced."""
    bench = Bench(RIG.replace('strings = { port = "Box 1" }', 'strings = { port = "Box 1", wire = "din" }'))
    bench.show.apply(RecallScene(2), "shell")
    bench.now += 1000 * MS
    bench.show.pump()
    bench.play(KEYS, *(f"B0 07 {value:02X}" for value in range(100)))
    assert status(bench.show)["outputs"][0]["replaced"] > 50
    assert status(bench.show)["outputs"][1]["replaced"] == 0


def test_times(bench: Bench) -> None:
    """The running time in seconds, and message latencies in milliseconds."""
    bench.play(KEYS, "90 3C 40")
    bench.now += 90_000 * MS
    found = status(bench.show)
    assert found["running_s"] == 90.0
    assert set(found["latency"]) == {"p50_ms", "p99_ms", "p99_9_ms", "worst_ms"}


def test_a_muted_way_is_named() -> None:
    """A connection muted because of a loop is given by the names of its ports."""
    bench = Bench()
    bench.show.apply(RecallScene(3), "shell")
    bench.show.engine.state.loops.muted.add((PEDALS, 1))
    bench.show.engine.state.loops.lift(source=KEYS)
    assert status(bench.show)["muted"] == [{"input": "pedals", "output": "brass"}]


def test_what_an_edit_took_out_is_not_shown(bench: Bench) -> None:
    """Names that are no longer in the rig are no longer in the status."""
    names = [port["name"] for port in status(bench.show)["outputs"]]
    assert names == ["strings", "brass"]
    edited = bench.rig.model_copy(update={"outputs": {"strings": bench.rig.outputs["strings"]}})
    bench.show.engine.state.compiled = replace(bench.show.engine.state.compiled, rig=edited)
    assert [port["name"] for port in status(bench.show)["outputs"]] == ["strings"]


def test_each_player_has_a_place_of_their_own() -> None:
    """By name: scene in force and next, set list and place in it, song and transposition; without players, nothing."""
    assert status(Bench().show)["players"] == {}
    show = Bench(PLAYERS).show
    for player in ("anna", "ben"):
        show.apply(FirstScene(player=player), "shell")
    show.apply(NextScene(player="anna"), "shell")
    show.apply(Transpose(1, player="ben"), "shell")
    found = status(show)["players"]
    assert found["anna"] == {
        "scene": {"number": 22, "name": "Lament", "cue": "22.5"},
        "next": None,
        "setlist": "Anna, act 1",
        "place": 2,
        "scenes": [21, 22],
        "song": None,
        "step": 0,
        "loaded": None,
    }
    assert (found["ben"]["scene"]["number"], found["ben"]["next"]["number"], found["ben"]["step"]) == (31, 32, 1)
