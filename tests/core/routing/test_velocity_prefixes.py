"""High resolution velocity: the prefix goes with its note, through filters and between players (CA-031)."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.message_words import from_hex
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.engine_calls import input_lost
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

RIG = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
lead = { port = "c", wire = "WIRE" }
second = { port = "d" }
[[controls]]
input = "pads"
when = { note = 20 }
do = "panic"
[[scenes]]
number = 1
name = "Merged"
routes = [
  { from = ["keys", "pads"], to = "lead" },
  { from = "keys", to = "second", through = [FILTER] },
]
[[scenes]]
number = 2
name = "Other"
routes = [{ from = "keys", to = "lead", through = [{ filter = "transpose", semitones = 12 }] }]
[[scenes]]
number = 4
name = "Silence"
"""
UNCHANGED = '{ filter = "transpose", semitones = 1 }'


def _engine(through: str = UNCHANGED, wire: str = "fast") -> PlayedEngine:
    return PlayedEngine(RIG.replace("FILTER", through).replace("WIRE", wire))


class _Velocities:
    """A receiver of CA-031: channel, key and 14-bit velocity of each note-on, and of each note-off with a velocity."""

    def __init__(self) -> None:
        self._low: dict[int, int] = {}
        self.ons: list[tuple[int, int, int]] = []
        self.offs: list[tuple[int, int, int]] = []

    def hear(self, message: bytes) -> None:
        channel, kind = message[0] & 0x0F, message[0] & 0xF0
        if kind == 0xB0 and message[1] == 88:
            self._low[channel] = message[2]
        elif kind in (0x80, 0x90):
            velocity = message[2] << 7 | self._low.pop(channel, 0)
            if kind == 0x90 and message[2]:
                self.ons.append((channel, message[1], velocity))
            elif kind == 0x80:
                self.offs.append((channel, message[1], velocity))


def _heard(engine: PlayedEngine, output: int = 0) -> _Velocities:
    receiver = _Velocities()
    for _, message, _ in sorted(engine.heard(output), key=lambda each: each[2]):
        receiver.hear(message)
    return receiver


def _play(engine: PlayedEngine, *messages: str, source: int = 0) -> None:
    for message in messages:
        engine.play(source, from_hex(message))


@pytest.mark.parametrize("value", check_values("hrv-", "velocity14"), ids=lambda value: value.id)
def test_a_prefix_passes_before_its_note(value: CheckValue) -> None:
    """Both messages pass as they came, in this order (CA-031)."""
    engine = _engine()
    _play(engine, *value.expected)
    assert [message for _, message, _ in engine.heard(0)] == [from_hex(each) for each in value.expected]
    assert [velocity for _, _, velocity in _heard(engine).ons] == [value.input["velocity14"]]


@pytest.mark.parametrize("name", ["hrv-one-note", "hrv-between"])
def test_a_prefix_counts_for_one_note(name: str) -> None:
    """It counts for the next note alone, whatever comes in between (CA-031)."""
    engine, value = _engine(), check_value(name)
    _play(engine, *value.input)
    assert [velocity for _, _, velocity in _heard(engine).ons] == value.expected


def test_a_prefix_is_of_its_channel() -> None:
    """The note of another channel leaves it waiting (CA-031)."""
    engine, value = _engine(), check_value("hrv-channel")
    _play(engine, *value.input)
    expected: list[dict[str, Any]] = value.expected
    assert [(channel, velocity) for channel, _, velocity in _heard(engine).ons] == [
        (each["channel"], each["velocity14"]) for each in expected
    ]


def test_a_release_has_a_prefix_too() -> None:
    """A note-off goes where its press went, with its prefix; before velocity 0 a prefix says nothing (CA-031)."""
    engine, value, zero = _engine(), check_value("hrv-off"), check_value("hrv-zero")
    _play(engine, "90 3C 40", *value.input)
    assert _heard(engine).offs == [(0, 60, value.expected["note_off_velocity14"])]
    assert _heard(engine, 1).offs == [(0, 61, value.expected["note_off_velocity14"])]
    _play(engine, "90 3C 40", *zero.input, "90 40 40")
    assert _heard(engine).ons[-1] == (0, 64, 0x40 << 7)
    assert engine.ears()[0].sounding == {(0, 64): 1}


def test_a_prefix_follows_its_note_through_filters() -> None:
    """Transposed, on another channel or as another key: the prefix is of the note's channel, before each note."""
    both = '{ filter = "channels", map = { 1 = 5 } }, { filter = "controllers", keep = [1] }'
    engine = _engine(f'{both}, {"{"} filter = "notes", map = {"{"} 60 = 62 {"}"} {"}"}')
    _play(engine, "B0 58 55", "90 3C 40")
    assert [message for _, message, _ in engine.heard(1)] == [from_hex("B4 58 55"), from_hex("94 3E 40")]


@pytest.mark.parametrize(
    "stops", ['{ filter = "strip", kinds = ["controller 88"] }', '{ filter = "controllers", drop = [88] }']
)
def test_a_route_may_stop_prefixes(stops: str) -> None:
    """Where a filter removes controller 88 the note passes with the seven bits that it has."""
    engine = _engine(stops)
    _play(engine, "B0 58 55", "90 3C 40")
    assert [message for _, message, _ in engine.heard(1)] == [from_hex("90 3C 40")]
    assert [velocity for _, _, velocity in _heard(engine).ons] == [8277]


def test_a_note_that_does_not_pass_takes_its_prefix_along() -> None:
    """A zone that stops a note leaves no prefix for the next one."""
    engine = _engine('{ filter = "zone", notes = [60, 72] }')
    _play(engine, "B0 58 55", "90 30 40", "90 3C 40")
    assert _heard(engine, 1).ons == [(0, 60, 8192)]


def test_a_note_that_commands_takes_its_prefix_along() -> None:
    """A control takes the note, so the prefix is not that of the next one."""
    engine = _engine()
    _play(engine, "B0 58 55", "90 14 40", "90 3C 40", source=1)
    assert _heard(engine).ons == [(0, 60, 8192)]


def test_a_pulled_cable_takes_its_prefix_along() -> None:
    """A prefix whose note never came is forgotten."""
    engine = _engine()
    _play(engine, "B0 58 55")
    engine.take(input_lost(engine.router, engine.now, 0))
    _play(engine, "90 3C 40")
    assert _heard(engine).ons == [(0, 60, 8192)]


def test_a_scene_change_does_not_tear_a_prefix_from_its_note() -> None:
    """The note plays in the new scene, with its prefix."""
    engine = _engine()
    _play(engine, "B0 58 55")
    engine.recall(2)
    _play(engine, "90 3C 40")
    assert _heard(engine).ons == [(0, 72, 8277)]


@pytest.mark.parametrize(
    ("ends", "played", "goes"),
    [
        ("from = { channel = 1 }, to = { members = [2, 4] }", 0, 1),
        ("from = { members = [2, 4] }, to = { channel = 1 }", 2, 0),
        ("from = { members = [2, 4] }, to = { members = [9, 15] }", 2, 8),
    ],
)
def test_a_prefix_follows_its_note_into_a_zone(ends: str, played: int, goes: int) -> None:
    """Where a filter chooses the channel of each note, the prefix is sent there."""
    engine = _engine(f'{{ filter = "mpe", {ends} }}')
    _play(engine, f"B{played} 58 55", f"9{played} 3C 40", f"9{played} 3E 40")
    assert [(key, velocity) for _, key, velocity in _heard(engine, 1).ons] == [(60, 8277), (62, 8192)]
    assert _heard(engine, 1).ons[0][0] == goes


def test_an_echo_takes_no_prefix() -> None:
    """A repeat that comes between a prefix and its note has the velocity that it had, and so has the note."""
    engine = _engine('{ filter = "echo", milliseconds = 10, repeats = 1, fade = 0 }')
    _play(engine, "90 3C 40")
    engine.wait(5 * MS)
    _play(engine, "B0 58 55")
    engine.wait(10 * MS)
    _play(engine, "90 40 40")
    assert _heard(engine, 1).ons == [(0, 60, 8192), (0, 60, 8192), (0, 64, 8277)]


def test_on_a_full_cable_releases_are_as_they_are() -> None:
    """Where too much waits, a release is not made longer: it passes alone, and ends its note."""
    engine = _engine(wire="din")
    _play(engine, "90 3C 40")
    for number in range(5000):
        engine.play(1, bytes((0xB0, 64 + number % 2, number % 128)))
    assert engine.router.state.cables[0].full
    _play(engine, "B0 58 55", "80 3C 40")
    engine.run_dry()
    assert engine.ears()[0].held == 0


_NOTES = st.lists(st.tuples(st.integers(0, 1), st.integers(0x80, 0x3FFF), st.integers(0, 3)), max_size=40)


@pytest.mark.parametrize("wire", ["din", "fast"])
@given(_NOTES)
def test_two_players_keep_their_velocities(wire: str, notes: list[tuple[int, int, int]]) -> None:
    """Whatever two players do on one channel at the same time, each note arrives with its own velocity of 14 bits."""
    engine = _engine(wire=wire)
    streams: list[list[tuple[bytes, int]]] = [[], []]
    played: list[tuple[int, int, int]] = []
    for player, velocity, wait in notes:
        key = 40 + 40 * player + len(streams[player]) % 30
        streams[player] += [(bytes((0xB0, 88, velocity & 0x7F)), wait), (bytes((0x90, key, velocity >> 7)), 0)]
        played.append((0, key, velocity))
    while any(streams):
        for player, stream in enumerate(streams):
            if stream:
                message, wait = stream.pop(0)
                engine.wait(wait * MS)
                engine.play(player, message)
    engine.run_dry()
    assert sorted(_heard(engine).ons) == sorted(played)
