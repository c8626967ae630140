"""`clock`: the beat clock passes, is stopped, or runs slower."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters.registry import registry
from tests.support.filter_bench import heard, refusal, settings_of, step_of

TICK, START, CONTINUE, STOP, BEGINNING = "F8", "FA", "FB", "FC", "F2 00 00"


def test_pass_changes_nothing() -> None:
    """pass = true lets ticks and transport through."""
    assert heard('filter = "clock", pass = true', START, TICK, STOP, "90 3C 40") == [START, TICK, STOP, "90 3C 40"]


def test_block_holds_back_the_ticks_alone() -> None:
    """block = true stops ticks; start, continue, stop, song position and time code pass."""
    others = [START, CONTINUE, STOP, BEGINNING, "F1 24", "FE", "90 3C 40"]
    assert heard('filter = "clock", block = true', TICK, *others, TICK) == others


@pytest.mark.parametrize("every", [1, 2, 3, 24])
def test_every_nth_tick_passes_from_the_first_after_start(every: int) -> None:
    """The first tick after start passes, as playing begins with it (MIDI 1.0 p. 30), then every Nth."""
    step = step_of(f'filter = "clock", divide = {every}')
    heard(step, TICK, TICK, TICK)
    assert heard(step, START) == [START]
    assert [bool(heard(step, TICK)) for _ in range(49)] == [tick % every == 0 for tick in range(49)]


def test_a_song_position_restarts_the_count() -> None:
    """The first tick after a song position passes."""
    step = step_of('filter = "clock", divide = 4')
    heard(step, START, TICK, TICK, STOP)
    assert heard(step, BEGINNING, CONTINUE, TICK, TICK, TICK, TICK, TICK) == [BEGINNING, CONTINUE, TICK, TICK]


def test_ticks_while_stopped_do_not_move_the_song() -> None:
    """After stop and continue the count goes on where the song stopped, ticks in between or not (MIDI 1.0 p. 31)."""
    step = step_of('filter = "clock", divide = 6')
    heard(step, START, TICK, TICK, STOP, TICK, TICK, TICK, STOP, TICK)
    assert heard(step, CONTINUE, TICK, TICK, TICK, TICK) == [CONTINUE]
    assert heard(step, TICK) == [TICK]


@pytest.mark.parametrize("transport", [[CONTINUE], [STOP, CONTINUE]])
def test_a_clock_that_was_never_started_continues_at_the_beginning(transport: list[str]) -> None:
    """Before the first start the song stands at its beginning, whatever ticks and stops came by: continue plays from
    there."""
    went = heard('filter = "clock", divide = 4', TICK, TICK, *transport, TICK, TICK, TICK, TICK, TICK)
    assert went == [TICK, *transport, TICK, TICK]


def test_ticks_while_stopped_are_divided_too() -> None:
    """Gear that shows the tempo while stopped gets the slower one."""
    assert heard('filter = "clock", divide = 2', *[TICK] * 10) == [TICK] * 5


def test_a_second_start_or_continue_while_playing() -> None:
    """Continue while playing is ignored (MIDI 1.0 p. 31); a second start begins again, as at a loop point."""
    step = step_of('filter = "clock", divide = 4')
    assert heard(step, START, TICK, TICK, CONTINUE, TICK, TICK, TICK) == [START, TICK, CONTINUE, TICK]


@given(st.lists(st.sampled_from([TICK, START, CONTINUE, STOP, BEGINNING, "90 3C 40"]), max_size=60))
def test_only_ticks_are_ever_held_back(messages: list[str]) -> None:
    """Whatever comes in, a divided clock passes everything but ticks, in order."""
    went = heard('filter = "clock", divide = 3', *messages)
    assert [one for one in went if one != TICK] == [one for one in messages if one != TICK]


def test_only_a_divided_clock_keeps_state() -> None:
    """The core may remember the answers of pass and block; divide must be asked each time."""
    keeps = registry()["clock"].keeps_state
    assert not keeps(settings_of('filter = "clock", pass = true'))
    assert not keeps(settings_of('filter = "clock", block = true'))
    assert keeps(settings_of('filter = "clock", divide = 2'))


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "exactly one of pass = true, block = true and divide = N" in refusal('filter = "clock"')
    assert "exactly one of" in refusal('filter = "clock", block = true, divide = 2')
    assert "true, or leave it out" in refusal('filter = "clock", pass = false')
    assert "N from 1 to 384" in refusal('filter = "clock", divide = 0')
