"""The end of a process that hangs."""

import subprocess
import sys


def test_a_process_that_hangs_is_ended_with_status_0() -> None:
    """Work in threads that never ends, and a main thread that waits for it, do not keep the process."""
    program = (
        "import threading\n"
        "from engine.live.process.end_within import end_within\n"
        "end_within(0.1)\n"
        "threading.Thread(target=threading.Event().wait).start()\n"
        "threading.Event().wait()\n"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=30, check=False)
    assert (ended.returncode, ended.stderr) == (0, b"")


def test_a_process_that_ends_by_itself_keeps_its_status() -> None:
    """The watch does not hold up a process."""
    program = "import sys\nfrom engine.live.process.end_within import end_within\nend_within(60)\nsys.exit(3)\n"
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=30, check=False)
    assert ended.returncode == 3
