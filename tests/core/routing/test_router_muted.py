"""Routes that are muted, and inputs that are unplugged, while their filters hold state."""

from collections.abc import Callable

import pytest

from tests.support import engine_calls
from tests.support.engine_calls import wake_up
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import HEAD

ECHO = '{ filter = "echo", milliseconds = 100, repeats = 2, fade = 50 }'
ROUTE = '{{ name = "{0}", from = "{1}", to = "brass", through = [ {2} ] }}'
SCENE = '[[scenes]]\nnumber = 1\nname = "A"\n'
KEYS, PADS = 0, 1


def rig(where: str, *routes: str) -> str:
    listed = f"routes = [ {', '.join(routes)} ]\n"
    return (
        HEAD.replace("format = 1\n", f"format = 1\n{listed}") + SCENE
        if where == "everywhere"
        else HEAD + SCENE + listed
    )


def mute(played: PlayedEngine, route: str, on: bool = True) -> None:
    outcome, out = engine_calls.mute(played.router, played.now, route, on, "test")
    assert outcome.done
    played.take(out)


def heard(played: PlayedEngine, since: int) -> list[str]:
    return [message.hex(" ").upper() for at, message, _ in played.heard(1) if at >= since]


@pytest.mark.parametrize("where", ["everywhere", "scene"])
def test_what_a_muted_route_would_repeat_ends(where: str) -> None:
    """A repeat that sounds when its route is muted is released and no more begin, though the filter does not get the
    key's release; the echo of another input goes on."""
    played = PlayedEngine(rig(where, ROUTE.format("hall", "keys", ECHO), ROUTE.format("room", "pads", ECHO)))
    played.play(KEYS, b"\x90\x3c\x40")
    played.wait(30 * MS)
    played.let_go(KEYS)
    played.play(KEYS, b"\x90\x3e\x40")
    played.play(PADS, b"\x90\x40\x40")
    played.wait(80 * MS)
    mute(played, "hall")
    assert heard(played, played.now) == ["80 3C 40"]
    played.let_go(KEYS, PADS)
    assert heard(played, played.now) == ["80 3C 40", "80 3E 40", "80 40 40"]
    played.wait(MS)
    played.run_dry()
    assert heard(played, 111 * MS) == ["90 40 20", "80 40 40", "90 40 10", "80 40 40"]
    assert (played.router.state.ledger.sounding(), sum(synth.held for synth in played.ears())) == (0, 0)


def test_a_muted_route_that_plays_again_repeats_what_is_played_then() -> None:
    """After it is unmuted, a route repeats new notes and ends them, though a key was released meanwhile."""
    played = PlayedEngine(rig("everywhere", ROUTE.format("hall", "keys", ECHO)))
    played.play(KEYS, b"\x90\x3c\x40")
    mute(played, "hall")
    played.let_go(KEYS)
    mute(played, "hall", False)
    played.wait(500 * MS)
    played.play(KEYS, b"\x90\x3c\x40")
    played.let_go(KEYS)
    played.run_dry()
    assert heard(played, 501 * MS) == ["90 3C 20", "80 3C 40", "90 3C 10", "80 3C 40"]
    assert (played.router.state.ledger.sounding(), sum(synth.held for synth in played.ears())) == (0, 0)


def unplug(played: PlayedEngine) -> None:
    played.lose(KEYS)


def silence(played: PlayedEngine) -> None:
    played.play(KEYS, b"\xfe")
    played.wait(400 * MS)


def sleep(played: PlayedEngine) -> None:
    played.take(wake_up(played.router, played.now)[1])


def mute_for_a_while(played: PlayedEngine) -> None:
    mute(played, "hall")
    mute(played, "hall", False)


@pytest.mark.parametrize("where", ["everywhere", "scene"])
@pytest.mark.parametrize("end", [unplug, silence, sleep, mute_for_a_while])
def test_a_latch_that_was_released_begins_again(where: str, end: Callable[[PlayedEngine], None]) -> None:
    """Bringing a latched pedal to rest also turns its latch off: the next press is on, in whatever scene."""
    latch = '{ filter = "latch", controllers = [64] }'
    played = PlayedEngine(rig(where, ROUTE.format("hall", "keys", latch)) + SCENE.replace("1", "2").replace("A", "B"))
    pedal = b"\xb0\x40\x7f", b"\xb0\x40\x00"
    for message in pedal:
        played.play(KEYS, message)
    end(played)
    if where == "everywhere":
        played.recall(2)
    played.wait(MS)
    for message in pedal:
        played.play(KEYS, message)
    assert [each for each in heard(played, 0) if each.startswith("B0 40")] == ["B0 40 7F", "B0 40 00", "B0 40 7F"]
