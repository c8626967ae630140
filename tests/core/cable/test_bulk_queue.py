"""The long SysEx that waits for one cable."""

import sys

from hypothesis import given
from hypothesis import strategies as st

from engine.core.cable.bulk_queue import MOST_BYTES, MOST_MESSAGES, BulkQueue


@given(st.lists(st.one_of(st.integers(33, 400), st.sampled_from(["take", "clear"]))))
def test_there_is_room_for_what_is_left(steps: list[int | str]) -> None:
    """Whatever was added, taken and cleared, what waits keeps its order, and just the bytes that are left fit."""
    queue, waiting = BulkQueue(), list[bytes]()
    for step in steps:
        if isinstance(step, int):
            queue.append(bytes(step))
            waiting.append(bytes(step))
        elif step == "clear":
            queue.clear()
            waiting.clear()
        elif waiting:
            assert queue.first == waiting[0]
            assert queue.popleft() == waiting.pop(0)
        assert (bool(queue), [*queue]) == (bool(waiting), waiting)
        room = MOST_BYTES - sum(map(len, waiting))
        assert queue.has_room_for(bytes(room))
        assert not queue.has_room_for(bytes(room + 1))


def test_the_number_of_messages_is_bounded() -> None:
    """Short ones are counted as well, since each costs more memory than its bytes: all blocks of the longest backup
    find room, and a full queue of short messages takes less than 2 MB."""
    queue = BulkQueue()
    for _ in range(MOST_MESSAGES):
        assert queue.has_room_for(bytes(33))
        queue.append(bytes(33))
    assert not queue.has_room_for(bytes(33))
    assert len([*queue]) > 16_383
    assert sum(sys.getsizeof(message) for message in queue) < 2_000_000
