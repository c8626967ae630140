"""Periods that a JACK server misses are counted: judges of other tests rely on that."""

import signal
import subprocess
import sys

from tests.support.jack_missed import missed_periods
from tests.support.waiting import until


def test_a_client_that_stands_still_makes_the_server_miss_periods(jack_server: str) -> None:
    client = (sys.executable, "-m", "tests.support.jack_missed")
    with missed_periods() as count, subprocess.Popen(client, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as slow:
        assert slow.stdout is not None
        assert slow.stdout.read(1) == b"x"
        before = count()
        slow.send_signal(signal.SIGSTOP)
        try:
            until("missed periods", lambda: count() > before)
        finally:
            slow.send_signal(signal.SIGCONT)
