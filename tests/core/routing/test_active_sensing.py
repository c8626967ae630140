"""Active sensing: inputs that sent it and fall silent, outputs that are kept awake by it (MIDI 1.0 p. 32-33)."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.commands import InputThere
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.check_values import check_value
from tests.support.engine_calls import apply, command, engine_of, input_lost, output_left, recall, wake_up
from tests.support.pit_engine import MS, PORTS, SCENES, ears, engine, hexed, run_dry
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import played

STRINGS, BRASS = 0, 1
KEYS, PADS = 0, 1
FE, CLOCK, ON, OFF, PEDAL = b"\xfe", b"\xf8", b"\x90\x3c\x40", b"\x80\x3c\x40", b"\xb0\x40\x7f"
SEND_MS = check_value("as-recommended").expected["send_ms"]
JUDGE_MS = check_value("as-recommended").expected["judge_ms"]

STRIP = '{ filter = "strip", kinds = ["active_sensing"] }'
NO_FE = f'{{ from = ["keys", "pads"], to = ["strings", "brass"], through = [ {STRIP} ] }}'


def scene(routes: str, number: int = 1) -> str:
    return f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {routes} ]\n'


def playing(cable: str = "fast") -> Engine:
    """Keys and pads play strings and brass; active sensing is not passed on."""
    router = engine(scene(NO_FE), cable)
    recall(router, 0, 1)
    return router


def let_pass(router: Engine, now: int, until: int) -> list[Delivery]:
    """Time passes; what came out."""
    out: list[Delivery] = []
    while router.due is not None and router.due <= until:
        now = max(now, router.due)
        out += router.tick(now)
    return out + router.tick(until)


def test_the_first_one_arms_the_watch() -> None:
    """An input that has never sent an FE may be silent for ever (entry as-arm)."""
    router = playing()
    for message in (ON, PEDAL, CLOCK):
        router.receive(1, KEYS, message)
    assert router.due is None
    gap = check_value("as-arm").input["gap_ms"] * MS
    assert (let_pass(router, 1, 1 + gap) or "no action") == check_value("as-arm").expected
    assert let_pass(router, 1 + gap, 3_600_000 * MS) == []
    assert not router.state.sensing.silent
    assert router.reports.news == []


@pytest.mark.parametrize("held", [1, 3])
def test_a_silence_is_judged_after_330_ms(held: int) -> None:
    """329 ms after the last message nothing happens; after 331 ms all that the input holds is released at every output,
    the player is informed once, and the input counts as silent (entries as-timeout and as-recommended)."""
    entry = check_value("as-timeout")
    gap = entry.input["gap_ms"]
    router = playing()
    out = router.receive(0, KEYS, FE) if entry.input["fe_seen"] else []
    for key in range(held):
        out += router.receive(0, KEYS, bytes((0x90, 60 + key, 64)))
    out += router.receive(0, KEYS, PEDAL) + router.receive(0, KEYS, b"\xe0\x00\x50")
    assert let_pass(router, 0, 329 * MS) == []
    assert not router.state.sensing.silent
    assert router.due == JUDGE_MS * MS
    released = let_pass(router, 329 * MS, gap * MS)
    for output in (STRINGS, BRASS):
        assert hexed(released, output) == [*(f"80 {60 + key:02X} 40" for key in range(held)), "B0 40 00", "E0 00 40"]
    assert router.state.sensing.silent == {KEYS}
    assert [port for port, _ in router.reports.news] == ["keys"]
    assert let_pass(router, gap * MS, 10_000 * MS) == [], entry.expected
    assert len(router.reports.news) == 1
    assert [synth.held for synth in ears(out + released)] == [0, 0]


def test_other_players_are_left_alone() -> None:
    """If the silent input holds a key together with another input, the note sounds until the other releases it."""
    router = playing()
    router.receive(0, KEYS, FE)
    router.receive(0, KEYS, ON)
    router.receive(0, PADS, ON)
    assert let_pass(router, 0, 400 * MS) == []
    assert hexed(router.receive(400 * MS, PADS, OFF), STRINGS) == ["80 3C 40", "80 3C 40"]


@pytest.mark.parametrize("message", [FE, CLOCK, ON, PEDAL, b"\xf0\x7d\x01\xf7", b"\xc0\x05", b"\x90\x3c\x00"])
def test_any_message_restarts_the_watch(message: bytes) -> None:
    """Not only an FE counts: any message within the time keeps the input alive (entry as-any-message)."""
    router, entry = playing(), check_value("as-any-message")
    every = entry.input["messages_every_ms"]
    router.receive(0, KEYS, FE)
    for at in range(every, 14 * every + 1, every):
        let_pass(router, 0, at * MS)
        router.receive(at * MS, KEYS, message)
    assert ("timeout" if router.state.sensing.silent else "no timeout") == entry.expected
    assert let_pass(router, 2800 * MS, 3129 * MS) == []
    let_pass(router, 3129 * MS, 3131 * MS)
    assert router.state.sensing.silent == {KEYS}


def test_a_message_of_a_control_restarts_the_watch_too() -> None:
    """A foot controller whose program changes are all consumed still counts as alive."""
    router = engine(SCENES)
    recall(router, 0, 1)
    router.receive(0, 2, FE)
    for at in (300, 600, 900):
        let_pass(router, 0, at * MS)
        router.receive(at * MS, 2, b"\xc0\x00")
    assert not router.state.sensing.silent


def test_an_input_that_speaks_again() -> None:
    """An input that sends again is no longer silent; it is watched again only after its next FE."""
    router = playing()
    router.receive(0, KEYS, FE)
    let_pass(router, 0, 400 * MS)
    assert router.state.sensing.silent == {KEYS}
    assert hexed(router.receive(400 * MS, KEYS, ON), STRINGS) == ["90 3C 40"]
    assert not router.state.sensing.silent
    assert let_pass(router, 400 * MS, 5000 * MS) == []
    router.receive(5000 * MS, KEYS, FE)
    assert hexed(let_pass(router, 5000 * MS, 5331 * MS), STRINGS) == ["80 3C 40"]
    assert len(router.reports.news) == 2


def test_an_input_that_was_unplugged_has_promised_nothing() -> None:
    """A pulled cable ends the watch: it is not reported a second time as silent."""
    router = playing()
    router.receive(0, KEYS, FE)
    input_lost(router, 100 * MS, KEYS)
    let_pass(router, 100 * MS, 5000 * MS)
    assert not router.state.sensing.silent
    assert router.reports.news == []


def test_an_input_that_is_opened_again_has_promised_nothing() -> None:
    """An FE from before that is read after the cable was pulled does not count for the port that is opened then."""
    router = playing()
    input_lost(router, 100 * MS, KEYS)
    router.receive(101 * MS, KEYS, FE)
    apply(router, 102 * MS, InputThere(router.inputs[KEYS]))
    router.receive(103 * MS, KEYS, ON)
    assert let_pass(router, 103 * MS, 5000 * MS) == []
    assert router.reports.news == []


def test_a_sleep_is_no_silence() -> None:
    """While the machine slept, no input could be received; the time counts from its waking."""
    router = playing()
    router.receive(0, KEYS, FE)
    wake_up(router, 60_000 * MS)
    let_pass(router, 60_000 * MS, 60_329 * MS)
    assert not router.state.sensing.silent
    let_pass(router, 60_329 * MS, 60_331 * MS)
    assert router.state.sensing.silent == {KEYS}


# Outputs

AWAKE = PORTS.replace('{ port = "d", wire = "WIRE" }', '{ port = "d", wire = "WIRE", active_sensing = true }')


def starts_of(out: list[Delivery], output: int) -> list[int]:
    """When each FE of an output is on its cable."""
    return [sent for to, message, sent in out if to == output and message == FE]


def assert_awake(starts: list[int], until: int, since: int = 0) -> None:
    """An FE at least every 270 ms (entry as-recommended; as-max-gap: 300 ms at most), from one moment to another."""
    times = [since, *(at for at in starts if at >= since), until]
    longest = max(after - before for before, after in pairwise(times))
    assert longest <= SEND_MS * MS < check_value("as-max-gap").expected["ms"] * MS


@pytest.mark.parametrize("cable", ["fast", "din"])
def test_an_output_that_asks_for_it_is_kept_awake(cable: str) -> None:
    """`active_sensing = true`: an FE at least every 270 ms, though nothing is played; the other output gets none."""
    router = engine_of(read(AWAKE.replace("WIRE", cable) + scene(NO_FE), "test"))
    out = recall(router, 0, 1) + let_pass(router, 0, 5000 * MS)
    assert_awake(starts_of(out, STRINGS), 5000 * MS)
    assert len(starts_of(out, STRINGS)) <= 1 + 5000 // 240
    assert starts_of(out, BRASS) == []


def test_an_output_that_is_about_to_close_is_kept_awake_no_longer() -> None:
    """Once an output is to be closed, no FE is sent there."""
    router = engine_of(read(AWAKE.replace("WIRE", "fast") + scene(NO_FE), "test"))
    recall(router, 0, 1)
    output_left(router, 1000 * MS, STRINGS)
    assert starts_of(let_pass(router, 1000 * MS, 5000 * MS), STRINGS) == []


def test_nobody_who_does_not_ask_is_sent_any() -> None:
    """Active sensing is optional on both sides (entry as-optional)."""
    router = playing()
    assert (let_pass(router, 0, 5000 * MS) == []) is check_value("as-optional").expected


@given(st.lists(st.tuples(st.sampled_from([0, 0, 1, 30, 300]), played), max_size=60), st.booleans())
@settings(max_examples=100)
def test_an_output_is_kept_awake_whatever_is_played(stream: list[tuple[int, bytes]], flooded: bool) -> None:
    """The FEs also come on a DIN cable full of notes, bursts and long SysEx, and through scene changes and a panic."""
    text = AWAKE.replace("WIRE", "din") + SCENES
    router = engine_of(read(text, "test"))
    now, out = 0, recall(router, 0, 1)
    for place, (wait, message) in enumerate(stream):
        out += let_pass(router, now, now + wait * MS)
        now += wait * MS
        out += router.receive(now, KEYS, message)
        if flooded:
            for key in range(40):
                out += router.receive(now, PADS, bytes((0x90 + key % 2, 40 + key, 9)))
        if place % 20 == 7:
            out += recall(router, now, 1 + place % 3)
        if place == 30:
            out += command(router, now, "panic", None, "test")[1]
    out += let_pass(router, now, now + 1000 * MS)
    assert_awake(starts_of(out, STRINGS), now + 1000 * MS)


@pytest.mark.parametrize("after", ["scene", "lose", "silence", "panic"])
def test_an_output_that_an_fe_was_routed_to_is_kept_awake(after: str) -> None:
    """A receiver that has had an FE would cut its voices without more: it gets them even without the route or the
    input."""
    router = engine(scene('{ from = "keys", to = "strings" }') + scene('{ from = "pads", to = "strings" }', 2))
    out = recall(router, 0, 1)
    for at in range(0, 1000, 250):
        out += let_pass(router, 0, at * MS) + router.receive(at * MS, KEYS, FE)
    if after == "scene":
        out += recall(router, 1000 * MS, 2)
    elif after == "lose":
        out += input_lost(router, 1000 * MS, KEYS)
    elif after == "panic":
        out += command(router, 1000 * MS, "panic", None, "test")[1]
    out += let_pass(router, 1000 * MS, 5000 * MS)
    assert_awake(starts_of(out, STRINGS), 5000 * MS)
    assert starts_of(out, BRASS) == []


def test_nothing_hangs_when_an_input_falls_silent_on_a_busy_wire() -> None:
    """Notes still waiting on a DIN cable when their input falls silent get their releases, too."""
    router = playing("din")
    out = router.receive(0, KEYS, FE)
    for key in range(120):
        out += router.receive(0, KEYS, bytes((0x90 + key % 2, key, 64)))
    for key in range(500):
        out += router.receive(0, PADS, bytes((0x92, key % 100, 64)))
    out += let_pass(router, 0, 331 * MS)
    for key in range(500):
        out += router.receive(331 * MS, PADS, bytes((0x82, key % 100, 64)))
    out += run_dry(router, 331 * MS)[1]
    assert [synth.held for synth in ears(out)] == [0, 0]


def test_an_evening_with_sensing_players_ends_in_silence() -> None:
    """Two players send FE, and in each scene one of them fails with keys down."""
    performed = PlayedEngine(PORTS.replace("WIRE", "din") + SCENES)
    for number in (1, 2, 1):
        performed.recall(number)
        for source in (KEYS, PADS):
            performed.play(source, FE)
            performed.chord(source, 0, 40)
        performed.wait(100 * MS)
        performed.play(KEYS, FE)
        performed.wait(250 * MS)
        performed.play(KEYS, FE)
        assert PADS in performed.router.state.sensing.silent
        performed.let_go(KEYS)
    performed.run_dry()
    assert [synth.held for synth in performed.ears()] == [0, 0]
