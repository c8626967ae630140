"""Closes the tests' own rtmidi ports as engine/ports/jack_closing.py does, which says why."""

import threading
from typing import Any

from engine.ports.jack_closing import all_threads, thread_state
from tests.support.waiting import until


def close_safely(port: Any) -> None:
    """Close the port, see each thread of the process at rest once, and only then free what JACK's may have been in."""
    port.close_port()
    unseen = set(all_threads() - {threading.get_native_id()})

    def seen_at_rest() -> bool:
        unseen.difference_update([each for each in unseen if thread_state(each) not in ("R", "D")])
        return not unseen

    until("JACK's threads to be at rest", seen_at_rest)
    port.delete()
