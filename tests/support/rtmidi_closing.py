"""Closes the tests' own rtmidi ports as engine/ports/jack_closing.py does, which says why."""

import threading
from typing import Any

from engine.ports.jack_closing import all_threads, thread_state
from tests.support.waiting import until


def close_safely(port: Any) -> None:
    """Close the port, and free what JACK's threads may be in, each while no thread of the process is in the middle."""
    _see_all_at_rest()
    port.close_port()
    _see_all_at_rest()
    port.delete()


def _see_all_at_rest() -> None:
    """Each of them once."""
    unseen = set(all_threads() - {threading.get_native_id()})

    def seen_at_rest() -> bool:
        unseen.difference_update([each for each in unseen if thread_state(each) not in ("R", "D")])
        return not unseen

    until("JACK's threads to be at rest", seen_at_rest)
