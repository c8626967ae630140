"""The virtual machine with an ALSA sequencer and input devices: it runs beside the first tests, which mostly wait."""

import contextlib
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

from tests.support.paths import ROOT

QEMU = "qemu-system-x86_64"
_HERE = Path(__file__).parent
_UNFINISHED = 124  # the guest's own status when it ran out of time


class Guest:
    """Runs the tests of these files of tests/real in the guest, which takes a few minutes; starts on construction."""

    def __init__(self, *files: str) -> None:
        self._command: list[str | Path] = [
            _HERE / "alsa-guest",
            "env",
            "BAYLEAF_NO_SKIP=1",
            "PYTHONDONTWRITEBYTECODE=1",
            sys.executable,
        ]
        self._command += ["-m", "pytest", "-p", "no:cacheprovider", *(ROOT / "tests" / "real" / file for file in files)]
        self._environment = {**os.environ, "GUEST_TIMEOUT": "480"}  # before the tests here change theirs
        self._process: subprocess.Popen[str] | None = None
        self._over = False
        self._status, self._said = _UNFINISHED, ""
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def result(self) -> tuple[int, str]:
        """Its exit status and all its output, once it has ended."""
        self._thread.join()
        return self._status, self._said

    def end(self) -> None:
        """Switch it off, if it is still running."""
        self._over = True
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGTERM)
        self._thread.join()

    def _run(self) -> None:
        # a busy host can stall the emulated kernel; only then may it try again: a test that failed has failed
        for _ in range(3):
            if self._over or self._status != _UNFINISHED:
                return
            with subprocess.Popen(
                self._command,
                cwd=ROOT,
                env=self._environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                start_new_session=True,
            ) as self._process:
                self._said, _ = self._process.communicate()
            self._status = self._process.returncode
