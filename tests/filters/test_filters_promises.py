"""What every built-in filter promises, whatever its settings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.kinds import is_press, is_release, is_whole
from filters.registry import BUILT_IN, Later, registry
from tests.support.filter_bench import MESSAGES, SYSTEM_MESSAGES, at_once, settings_of, step_of

SAMPLES = (
    'filter = "add_bank", channels = { 1 = [1, 2], 10 = [120, 0] }',
    'filter = "add_bank", programs = { 7 = { bank = [81, 3], program = 77 }, 8 = { bank = [0, 0] } }',
    'filter = "catch", controllers = [7, 11]',
    'filter = "channels", keep = [1, 2, 3], map = { 1 = 16 }',
    'filter = "channels", drop = [10], map = { 1 = 2, 2 = 1 }',
    'filter = "clock", pass = true',
    'filter = "clock", block = true',
    'filter = "clock", divide = 3',
    'filter = "controllers", keep = [1, 7], map = { 1 = 11 }, range = { 7 = [20, 100] }, invert = [1]',
    'filter = "controllers", drop = [123]',
    'filter = "controllers", stretch = { 11 = [5, 118] }, curve = { 11 = -40 }',
    'filter = "convert", from = "aftertouch", to = "controller 1"',
    'filter = "convert", from = "controller 1", to = "pitch_bend"',
    'filter = "convert", from = "pitch_bend", to = "aftertouch"',
    'filter = "convert", from = "poly_aftertouch", to = "controller 2"',
    'filter = "echo", milliseconds = 100, repeats = 2, fade = 0',
    'filter = "echo", repeats = 16, fade = 60',
    'filter = "echo", beats = 0.5',
    'filter = "latch", controllers = [64]',
    'filter = "mpe", from = { members = [2, 8] }, to = { channel = 1 }',
    'filter = "mpe", from = { channel = 1, bend = 12 }, to = { members = [2, 4], bend = 24 }',
    'filter = "mpe", from = { members = [2, 8] }, to = { members = [9, 15] }',
    'filter = "notes", map = { 36 = 40, C4 = "D4" }',
    'filter = "parameters", keep = ["nrpn 1/8", "controller 7"], map = { "controller 7" = "nrpn 1/9" }',
    'filter = "parameters", range = { "rpn 0/0" = [0, 12] }, map = { "nrpn 1/8" = "controller 74" }',
    'filter = "programs", map = { 7 = 77 }',
    'filter = "strip", kinds = ["sysex", "clock", "controller 1", "aftertouch"]',
    'filter = "strip", kinds = ["timecode"]',
    'filter = "sustain"',
    'filter = "thin", milliseconds = 20',
    'filter = "transpose", semitones = -40',
    'filter = "transpose", semitones = 100, outside = "fold"',
    'filter = "velocity", fixed = 100',
    'filter = "velocity", curve = -80, range = [1, 20]',
    'filter = "zone", notes = ["C2", "B4"]',
    'filter = "zone", notes = [0, 64], velocity = [64, 127]',
    'filter = "zone", notes = [48, 71], fade = 8',
)
KEEP_STATE = {"catch", "clock", "echo", "latch", "mpe", "parameters", "sustain", "thin"}
STOP_SYSTEM_MESSAGES = {"clock", "strip"}

SETTINGS = st.sampled_from(SAMPLES)
STREAM = st.lists(st.tuples(st.integers(0, 50_000_000), MESSAGES), max_size=30)


def name_of(sample: str) -> str:
    return settings_of(sample).filter


def keeps_state(sample: str) -> bool:
    settings = settings_of(sample)
    return registry()[settings.filter].keeps_state(settings)


def test_every_built_in_filter_is_held_to_these_promises() -> None:
    """The samples here cover every filter in the registry, and no others."""
    assert {name_of(sample) for sample in SAMPLES} == set(BUILT_IN)


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_filter_says_what_the_player_hears(name: str) -> None:
    """The first line of a filter's docstring is one whole sentence, for use in lists."""
    hears = registry()[name].hears
    assert hears.endswith(".")
    assert len(hears) < 120


def test_only_these_filters_keep_state() -> None:
    """The core may remember the answers of all other filters; of clock, only a divided one keeps state."""
    assert {name_of(sample) for sample in SAMPLES if keeps_state(sample)} == KEEP_STATE


@given(SETTINGS, STREAM)
def test_what_comes_out_is_whole_messages(sample: str, stream: list[tuple[int, bytes]]) -> None:
    """Whatever comes in, a tuple of whole MIDI messages comes out (MIDI 1.0 Tables I to VII), for now or for later."""
    step, now = step_of(sample), 0
    for gap, message in stream:
        now += gap
        out = step(message, now)
        assert type(out) is tuple
        assert all(one.at >= now for one in out if isinstance(one, Later))
        assert all(type(one) is bytes and is_whole(one) for one in map(_message, out))


def _notes(answers: tuple[bytes | Later, ...]) -> list[bytes]:
    """The notes among these: a filter may send before one what shapes it."""
    return [one for one in map(_message, answers) if one[0] & 0xE0 == 0x80]


def _message(one: bytes | Later) -> bytes:
    return one.message if isinstance(one, Later) else one


@given(SETTINGS.filter(lambda sample: name_of(sample) not in STOP_SYSTEM_MESSAGES), SYSTEM_MESSAGES)
def test_system_messages_pass(sample: str, message: bytes) -> None:
    """System messages pass every filter but strip and clock unchanged."""
    assert step_of(sample)(message, 0) == (message,)


@given(SETTINGS.filter(lambda sample: not keeps_state(sample)), STREAM, MESSAGES)
def test_a_filter_without_state_always_answers_alike(
    sample: str, stream: list[tuple[int, bytes]], message: bytes
) -> None:
    """Whatever came before and whatever time it is, the same message gets the same answer."""
    fresh = step_of(sample)(message, 0)
    used = step_of(sample)
    for at, earlier in stream:
        used(earlier, at)
    assert used(message, 10**15) == fresh
    assert used(message, 0) == fresh


@given(SETTINGS, st.integers(0, 15), st.integers(0, 127), st.integers(1, 127), st.integers(0, 127))
def test_a_release_goes_where_its_press_went(
    sample: str, channel: int, note: int, velocity: int, release_velocity: int
) -> None:
    """A release becomes what its press became: in its own form, with its own velocity, whatever the velocities."""
    step = step_of(sample)
    pressed = [(one[0], one[1]) for one in _notes(step(bytes((0x90 | channel, note, velocity)), 0))]
    assert all(is_press(bytes((*one, 1))) for one in pressed)
    for release in (bytes((0x80 | channel, note, release_velocity)), bytes((0x90 | channel, note, 0))):
        released = _notes(step(release, 0))
        assert all(is_release(one) and one[2] == release[2] for one in released)
        assert {(0x90 | one[0] & 0x0F, one[1]) for one in released} >= set(pressed)
        assert {one[0] & 0xF0 for one in released} <= {release[0] & 0xF0}


@given(SETTINGS, st.integers(0, 15), st.integers(0, 127), st.integers(1, 127))
def test_a_press_stays_a_press(sample: str, channel: int, note: int, velocity: int) -> None:
    """No filter turns a press into a release: its velocity must not become 0 (MIDI 1.0 p. 10)."""
    assert all(is_press(one) for one in _notes(step_of(sample)(bytes((0x90 | channel, note, velocity)), 0)))


@given(
    SETTINGS.filter(lambda sample: name_of(sample) not in ("convert", "mpe")), st.integers(0, 127), st.integers(0, 127)
)
def test_key_pressure_follows_its_key(sample: str, note: int, pressure: int) -> None:
    """Pressure on a key goes to the note that the key plays, with its value."""
    step = step_of(sample)
    played = {one[1] for one in at_once(step, bytes((0x80, note, 64)))}
    pressed = at_once(step, bytes((0xA0, note, pressure)))
    assert [(one[1], one[2]) for one in pressed] == [(n, pressure) for n in played]
