"""`sustain`: notes are held as pedals hold them, for gear that has none."""

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.engine_calls import input_lost, mute, recall
from tests.support.filter_bench import heard, refusal, step_of
from tests.support.pedalled_synth import PedalledSynth
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

SUSTAIN = 'filter = "sustain"'
RIG = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
lead = { port = "c" }
second = { port = "d" }
[[scenes]]
number = 1
name = "Held"
routes = [
  { name = "old synth", from = "keys", to = "lead", through = [
    { filter = "sustain" }, { filter = "transpose", semitones = 1 },
  ] },
  { name = "echoes", from = "keys", to = "second", through = [
    { filter = "echo", milliseconds = 50, repeats = 2, fade = 0 },
  ] },
  { name = "pads", from = "pads", to = "lead" },
]
[[scenes]]
number = 2
name = "Plain"
routes = [{ from = "keys", to = "lead", through = [{ filter = "transpose", semitones = 1 }] }]
[[scenes]]
number = 3
name = "Held elsewhere"
routes = [{ from = "keys", to = "second", through = [{ filter = "sustain" }] }]
[[scenes]]
number = 4
name = "Silence"
[[scenes]]
number = 5
name = "Cut"
held = "cut"
"""


def test_a_note_goes_on_until_the_pedal_comes_up() -> None:
    """With the pedal down a release is kept back, and given as it came once the pedal is up; the pedal stays here."""
    step = step_of(SUSTAIN)
    assert heard(step, "90 3C 40", "B0 40 7F") == ["90 3C 40"]
    step(bytes.fromhex("803C21"), 0)
    assert heard(step, "B0 40 3F", now=5 * MS) == ["80 3C 21 at 5"]
    assert heard(step, "B0 40 00") == []


def test_the_pedal_is_down_from_64_on() -> None:
    """A half-pressed pedal counts as up below 64 (MIDI 1.0 Table III)."""
    step = step_of(SUSTAIN)
    assert heard(step, "B0 40 3F", "90 3C 40", "80 3C 40") == ["90 3C 40", "80 3C 40"]


def test_sostenuto_holds_only_what_was_down() -> None:
    """Keys that are down when pedal 66 is pressed are held; those pressed later are not (MIDI 1.0 p. 20)."""
    step = step_of(SUSTAIN)
    assert heard(step, "90 3C 40", "B0 42 7F", "90 3E 40", "80 3E 40") == ["90 3C 40", "90 3E 40", "80 3E 40"]
    step(bytes.fromhex("803C40"), 0)
    assert heard(step, "B0 42 00", now=MS) == ["80 3C 40 at 1"]


def test_what_one_pedal_still_holds_does_not_end_with_the_other() -> None:
    """A note that both pedals hold ends when the second of them comes up."""
    step = step_of(SUSTAIN)
    for message in ("903C40", "B0427F", "B0407F", "803C40"):
        step(bytes.fromhex(message), 0)
    assert heard(step, "B0 42 00") == []
    assert heard(step, "B0 40 00") == ["80 3C 40 at 0"]


def test_channels_have_pedals_of_their_own() -> None:
    """The pedal of one channel holds no note of another."""
    assert heard(SUSTAIN, "B0 40 7F", "91 3C 40", "81 3C 40") == ["91 3C 40", "81 3C 40"]


@pytest.mark.parametrize("number", [120, 121, 123, 124, 125, 126, 127])
def test_mode_messages_end_what_is_held(number: int) -> None:
    """They pass, and what is held ends: 121 lifts the pedals (RP-015), the others silence (MIDI 1.0 Table IV)."""
    step = step_of(SUSTAIN)
    for message in ("903C40", "B0407F", "803C40"):
        step(bytes.fromhex(message), 0)
    assert heard(step, f"B0 {number:02X} 00") == [f"B0 {number:02X} 00", "80 3C 40 at 0"]
    assert heard(step, "90 3C 40", "80 3C 40") == ["90 3C 40", "80 3C 40"]


def test_other_messages_pass() -> None:
    """Other pedals, wheels, pressure and local control are not affected, nor the release of a key pressed before."""
    messages = ["B0 43 7F", "B0 01 20", "E0 00 40", "A0 3C 20", "D0 20", "C0 05", "B0 7A 00", "80 30 40"]
    assert heard(step_of(SUSTAIN), "B0 40 7F", *messages) == messages


_KEYS = st.integers(60, 63)
_PLAYED = st.lists(
    st.one_of(
        st.tuples(st.just("press"), st.tuples(st.integers(0, 1), _KEYS)),
        st.tuples(st.just("release"), st.tuples(st.integers(0, 1), _KEYS)),
        st.tuples(st.just("pedal"), st.tuples(st.sampled_from([64, 66]), st.sampled_from([0, 63, 64, 127]))),
        st.tuples(st.just("reset"), st.just((121, 0))),
    ),
    max_size=40,
)


@given(_PLAYED)
def test_gear_without_pedals_sounds_as_gear_with_pedals(played: list[tuple[str, tuple[int, int]]]) -> None:
    """At every moment the same notes sound as on a synth that has both pedals; once all is up, nothing sounds."""
    engine, synth = PlayedEngine(RIG), PedalledSynth()
    for message in _played_once(played):
        engine.play(0, message)
        synth.hear(message)
        assert {key - 1 for _, key in engine.ears()[0].sounding} == synth.sounding
        engine.wait(MS)
    engine.play(0, b"\xb0\x40\x00")
    engine.play(0, b"\xb0\x42\x00")
    engine.let_go()
    engine.run_dry()
    assert [synth.held for synth in engine.ears()] == [0, 0]
    assert engine.router.state.ledger.sounding() == 0


def _played_once(played: Iterable[tuple[str, tuple[int, int]]]) -> Iterable[bytes]:
    """A keyboard's messages on channel 1: no key is pressed while it is down, or released while it is up."""
    down: set[int] = set()
    for what, (one, key) in played:
        if what in ("pedal", "reset"):
            yield bytes((0xB0, one, key))
        elif (what == "press") != (key in down):
            down ^= {key}
            release = bytes((0x80, key, 40)) if one else bytes((0x90, key, 0))
            yield bytes((0x90, key, 64)) if what == "press" else release


def _held() -> PlayedEngine:
    """An engine where two notes sound under the pedal; the key of the second is still down."""
    engine = PlayedEngine(RIG)
    for message in ("B0407F", "903C40", "903E40", "803C40"):
        engine.play(0, bytes.fromhex(message))
    engine.run_dry()
    assert set(engine.ears()[0].sounding) == {(0, 61), (0, 63)}
    return engine


@pytest.mark.parametrize("what", ["unplugged", "panic", "muted", "cutting scene"])
def test_what_the_pedal_holds_ends(what: str) -> None:
    """Held notes end when the input is unplugged, its route is muted, a scene cuts what sounds or a panic is asked
    for."""
    engine = _held()
    if what == "unplugged":
        engine.take(input_lost(engine.router, engine.now, 0))
    elif what == "panic":
        engine.panic()
    elif what == "muted":
        engine.take(mute(engine.router, engine.now, "old synth", True)[1])
    else:
        engine.take(recall(engine.router, engine.now, 5))
    assert (0, 61) not in engine.ears()[0].sounding
    engine.let_go()
    engine.play(0, bytes.fromhex("B04000"))
    engine.run_dry()
    assert engine.ears()[0].held == 0
    assert engine.router.state.ledger.sounding() == 0


def test_a_key_that_is_down_rings_into_the_next_scene() -> None:
    """After a scene change the pedal comes up: what it held ends, and a note whose key is down goes on until that."""
    engine = _held()
    engine.recall(2)
    engine.play(0, bytes.fromhex("B04000"))
    assert set(engine.ears()[0].sounding) == {(0, 63)}
    engine.play(0, bytes.fromhex("803E40"))
    assert engine.ears()[0].held == 0


@pytest.mark.parametrize("scene", [2, 3, 4])
def test_what_the_pedal_holds_rings_into_the_next_scene(scene: int) -> None:
    """A scene change cuts nothing that the pedal holds; it ends when the pedal comes up, by whatever routes are in
    force then, also where a key was released in the new scene only."""
    engine = _held()
    engine.recall(scene)
    engine.play(0, bytes.fromhex("803E40"))
    engine.wait(MS)
    assert set(engine.ears()[0].sounding) == {(0, 61), (0, 63)}
    engine.play(0, bytes.fromhex("B04000"))
    engine.run_dry()
    assert [synth.held for synth in engine.ears()] == [0, 0]
    assert engine.router.state.ledger.sounding() == 0


def test_a_pedal_that_is_down_at_a_scene_change_holds_new_notes() -> None:
    """The new scene's filter knows that the pedal is down: what is released under it rings until it is up."""
    engine = _held()
    engine.recall(3)
    for message in ("904040", "804040"):
        engine.play(0, bytes.fromhex(message))
    assert (0, 64) in engine.ears()[1].sounding
    engine.play(0, bytes.fromhex("B04000"))
    engine.let_go()
    engine.run_dry()
    assert [synth.held for synth in engine.ears()] == [0, 0]


def test_a_pedal_that_the_new_scene_passes_comes_up_there() -> None:
    """The old scene's route swallows the pedal and the new one passes it, to one channel: what the new one has put down
    comes up with the pedal, while an old note still sounds."""
    engine = _held()
    engine.recall(2)
    for message in ("904040", "B04000"):
        engine.play(0, bytes.fromhex(message))
    pedals = [message for _, message, _ in engine.heard(0) if message[:2] == b"\xb0\x40"]
    assert pedals == [b"\xb0\x40\x7f", b"\xb0\x40\x00"]


_SHOW = st.lists(
    st.one_of(
        st.tuples(st.just("press"), st.integers(60, 63)),
        st.tuples(st.just("release"), st.integers(60, 63)),
        st.tuples(st.just("pedal"), st.sampled_from([0, 127])),
        st.tuples(st.just("recall"), st.integers(1, 4)),
    ),
    max_size=30,
)


@given(_SHOW)
def test_nothing_hangs_through_scene_changes(show: list[tuple[str, int]]) -> None:
    """Whatever is played, held and recalled: once the pedal and all keys are up, nothing sounds, and no pedal
    is down at any instrument."""
    engine = PlayedEngine(RIG)
    down: set[int] = set()
    for what, value in show:
        if what == "recall":
            engine.recall(value)
        elif what == "pedal":
            engine.play(0, bytes((0xB0, 64, value)))
        elif (what == "press") != (value in down):
            down ^= {value}
            engine.play(0, bytes((0x90, value, 64 * (what == "press"))))
        engine.wait(MS)
    engine.play(0, b"\xb0\x40\x00")
    engine.let_go()
    engine.run_dry()
    assert [(synth.held, synth.off_rest) for synth in engine.ears()] == [(0, set()), (0, set())]
    assert engine.router.state.ledger.sounding() == 0


def test_a_key_that_another_player_holds_sounds_on() -> None:
    """The pedal comes up while another input holds the same key of the same instrument: the note goes on until that
    key is up, and then gets the note-offs of both."""
    engine = _held()
    engine.play(1, bytes.fromhex("903D40"))
    engine.play(0, bytes.fromhex("B04000"))
    assert (0, 61) in engine.ears()[0].sounding
    engine.play(1, bytes.fromhex("803D40"))
    assert (0, 61) not in engine.ears()[0].sounding


def test_an_echo_of_the_same_key_ends_its_own_repeats() -> None:
    """The ends of repeats at one output do not end what the pedal holds at another, though both are of one key."""
    engine = _held()
    engine.wait(300 * MS)
    assert set(engine.ears()[0].sounding) == {(0, 61), (0, 63)}
    assert (0, 60) not in engine.ears()[1].sounding
    engine.play(0, bytes.fromhex("803E40"))
    engine.play(0, bytes.fromhex("B04000"))
    engine.run_dry()
    assert [synth.held for synth in engine.ears()] == [0, 0]


def test_it_has_no_settings() -> None:
    """A key that it does not have is an error."""
    assert refusal('filter = "sustain", pedal = 64').startswith("pedal")
