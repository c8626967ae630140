"""The ring between Python's threads and JACK's: a queue, bounded, whatever is put in and taken out."""

import ctypes
from collections import deque

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.fake_jack import ring_library

HEAD = 16  # bytes


class Head(ctypes.Structure):
    """See RecordHead in ring.h."""

    _fields_ = (("at", ctypes.c_int64), ("size", ctypes.c_uint32), ("kept", ctypes.c_uint32))


def _length(size: int) -> int:
    return HEAD + (size + 7) // 8 * 8


@settings(max_examples=60)
@given(st.sampled_from((64, 256, 1024)), st.lists(st.one_of(st.none(), st.binary(max_size=200)), max_size=120))
def test_a_ring_is_a_bounded_queue(size: int, steps: list[bytes | None]) -> None:
    """Each message comes out once, whole and in order; one is refused exactly if its record finds no room."""
    c, ring = ring_library(), ctypes.create_string_buffer(256 + 64)
    aligned = ctypes.c_void_p((ctypes.addressof(ring) + 63) & ~63)
    assert c.ring_make(aligned, size) == 0
    model: deque[bytes] = deque()
    try:
        for number, step in enumerate(steps):
            head = Head(number, 0, 0)
            if step is None:
                there = c.ring_peek(aligned, ctypes.byref(head))
                assert bool(there) == bool(model)
                if there:
                    taken = ctypes.create_string_buffer(head.size or 1)
                    c.ring_copy(aligned, 0, taken, head.size)
                    c.ring_drop(aligned, head.size)
                    assert taken.raw[: head.size] == model.popleft()
                continue
            head.size = len(step)
            refused = c.ring_put(aligned, ctypes.byref(head), step, len(step)) != 0
            assert refused == (sum(map(_length, map(len, model))) + _length(len(step)) > size)
            if not refused:
                model.append(step)
        assert c.ring_used(aligned) == sum(map(_length, map(len, model)))
    finally:
        c.ring_free(aligned)
