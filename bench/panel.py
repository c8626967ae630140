"""What the front panel costs the music, and its page the machine: with and without an open browser, in one run.

    python -m bench.panel [--seconds 5] [--rounds 2] [--browser chromium]

The show and its load are those of `following.py`: every input of the large rig with a full DIN cable of messages.
The panel is a process of its own, as always, and the browser is Chromium without a window, on the given view.
`page` is the CPU time of the process that runs the page, `browser` that of all of Chromium, `panel` that of the panel.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import Final

from bench.following import listening, one_turn, show_table, take_turns
from bench.machine import cpu_time, family
from engine.live.socket.client import socket_path

NAME: Final = "bench"
TURNS: Final = ("no panel", "show", "patch", "flow", "monitor")


def runs_pages(process: int) -> bool:
    return "--type=renderer" in Path(f"/proc/{process}/cmdline").read_text()


class Usage:
    """CPU of the panel and of Chromium between two marks."""

    def __init__(self, panel: int, browser: int) -> None:
        self._panel, self._browser = panel, browser
        self._marks: list[tuple[float, dict[str, float]]] = []

    def mark(self) -> None:
        """Take the readings now."""
        chromium = {process: cpu_time(process) for process in family(self._browser)}
        page = sum(used for process, used in chromium.items() if runs_pages(process))
        reading = {"page": page, "browser": sum(chromium.values()), "panel": cpu_time(self._panel)}
        self._marks.append((time.monotonic(), reading))

    def figures(self) -> dict[str, float]:
        """In % of a core."""
        (begin, before), (end, after) = self._marks
        return {key: 100 * (after[key] - before[key]) / (end - begin) for key in after}


@contextmanager
def looking(view: str, browser: str, folder: Path) -> Iterator[Usage]:
    """A panel, and a browser that shows this view."""
    command = [sys.executable, "-m", "engine.cli", "panel", "--name", NAME, "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as panel:
        found = re.search(r"http://127\.0\.0\.1:\d+/", panel.stdout.readline() if panel.stdout else "")
        options = ["--headless=new", "--no-sandbox", "--window-size=1920,1080", f"--user-data-dir={folder / view}"]
        address = f"{found[0] if found else ''}#{view}"
        quiet = subprocess.DEVNULL
        with subprocess.Popen([browser, *options, address], stdout=quiet, stderr=quiet) as chromium:
            try:
                yield Usage(panel.pid, chromium.pid)
            finally:
                chromium.terminate()
                panel.terminate()


def turn(folder: Path, seconds: float, browser: str, view: str) -> dict[str, float]:
    """The show's figures, and those of panel and browser."""
    with listening(socket_path(NAME)) as listener, ExitStack() as stack:
        if view == TURNS[0]:
            return {**one_turn(listener, seconds), "page": 0.0, "browser": 0.0, "panel": 0.0}
        usage = stack.enter_context(looking(view, browser, folder))
        return {**one_turn(listener, seconds, usage.mark), **usage.figures()}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--browser", default="chromium")
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="bl"))
    os.environ["XDG_RUNTIME_DIR"] = str(folder)
    try:
        run = partial(turn, folder, options.seconds, options.browser)
        show_table(take_turns(TURNS, options.rounds, run), options.rounds, options.seconds)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
