"""A takeover is not heard: what sounds sounds on, as its player means it."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.audible_receiver import AudibleReceiver, off_rest
from tests.support.engine_pair import EnginePair
from tests.support.plain_connections import PlainShow
from tests.support.random_gestures import deeds, perform, shows

pytestmark = pytest.mark.slow

SECOND = 1_000_000_000


def _performance(rigs: tuple[PlainShow, PlainShow], stream: list[Any], dies_at: int | None) -> AudibleReceiver:
    pair = EnginePair(rigs[0])
    perform(pair, rigs, stream[:dies_at])
    if dies_at is not None:
        pair.die()
        perform(pair, rigs, stream[dies_at:])
    pair.wait(SECOND)
    return pair.heard


@given(st.tuples(shows(), shows()), deeds, st.integers(0, 40))
@settings(max_examples=40, deadline=None)
def test_a_takeover_is_not_heard(rigs: tuple[PlainShow, PlainShow], stream: list[Any], dies_at: int) -> None:
    """Whenever the engine in charge dies, every note begins, is shaped and ends as if it had not; nothing is told
    otherwise a second after the last deed either."""
    undisturbed = _performance(rigs, stream, None)
    taken_over = _performance(rigs, stream, dies_at)
    assert taken_over.audible() == undisturbed.audible()
    told = [
        {place: off_rest(each.told) for place, each in heard.channels.items()} for heard in (undisturbed, taken_over)
    ]
    assert told[0] == told[1]
