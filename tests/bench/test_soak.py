"""The bench's soak, for half a minute. Bounds are our own; no outside source."""

import subprocess
import sys

from tests.support.paths import ROOT


def test_the_show_holds_out() -> None:
    """After half a minute of full load, floods, pulled cables, edits and panics nothing hangs; memory has not grown."""
    done = subprocess.run(
        [sys.executable, "-m", "bench.soak", "--seconds", "30"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
