"""The soak of the bench, one minute of it. Bounds are our own; no outside source."""

import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).parents[2] / "bench" / "soak.py"


def test_the_show_holds_out_for_a_minute() -> None:
    """A minute of full load, floods, pulled cables, edits and panics leaves nothing hanging, and memory flat."""
    done = subprocess.run(
        [sys.executable, str(BENCH), "--seconds", "60"], capture_output=True, text=True, timeout=240, check=False
    )
    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
