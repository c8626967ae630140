"""Takes the pictures of README: `python -m tests.support.page_pictures [FOLDER]`.

For those of the front panel the demo rig plays on a JACK server of its own; for that of a report it is rehearsed. If a
folder is given, it gets a picture of every view in three sizes instead.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Final, Literal

from playwright.sync_api import Page, sync_playwright

from tests.support.engine_process import engine
from tests.support.jack_ends import Box, Player
from tests.support.jack_servers import SERVER, start_as_granted
from tests.support.panel_in_browser import PHONE, SCREEN, TABLET, VIEWS, Panel, PanelInBrowser
from tests.support.paths import BAYLEAF, ROOT

PICTURES: Final = ROOT / "presets" / "pictures"
#: the players of the pit band's rig, by the names that its patterns match
PLAYERS: Final = ("Stage piano", "Drum pads", "Foot controller")
BOXES: Final = tuple(f"Eight-way box {number}" for number in (1, 2, 3, 4))
SCENE: Final = 12
#: file, size, theme and view
SHOWN: Final[tuple[tuple[str, tuple[int, int], Literal["dark", "light"], str], ...]] = (
    ("show-phone", PHONE, "dark", "show"),
    ("patch-screen", SCREEN, "dark", "patch"),
    ("flow-tablet", TABLET, "light", "flow"),
)
REPORT: Final = (1000, 1240)
SIZES: Final = {"phone": PHONE, "tablet": TABLET, "screen": SCREEN}


def play(players: list[Player], over: threading.Event) -> None:
    """A key in each hand and a pad, four times per second, until it is over."""
    keys, pads, _ = players
    while not over.is_set():
        for player, key in ((keys, 45), (keys, 69), (pads, 49)):
            player.play(bytes((0x90, key, 80)))
        over.wait(0.2)
        for player, key in ((keys, 45), (keys, 69), (pads, 49)):
            player.play(bytes((0x80, key, 64)))
        over.wait(0.05)


@contextmanager
def band(folder: Path) -> Iterator[PanelInBrowser]:
    """The pit band plays, and a browser shows its page."""
    with ExitStack() as stack:
        server = start_as_granted(SERVER)
        stack.callback(server.wait)
        stack.callback(server.terminate)
        os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
        boxes = [Box(name) for name in BOXES]
        players = [Player(name) for name in PLAYERS]
        ends: list[Box | Player] = [*boxes, *players]
        for end in ends:
            stack.callback(end.pull)
        rig = (ROOT / "presets" / "demo.toml").read_text(encoding="utf-8")
        rig = re.sub(r'(box\*\d)"', r'\1*"', rig)  # JACK ends a port's name with the name at its client
        running = stack.enter_context(engine(folder, rig, "--backend", "jack"))
        panel = Panel(running)
        panel.start()
        stack.callback(panel.kill)
        running.request("scene", scene=SCENE)
        over = threading.Event()
        playing = threading.Thread(target=play, args=(players, over))
        playing.start()
        stack.callback(playing.join)
        stack.callback(over.set)
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        stack.callback(browser.close)
        yield PanelInBrowser(running, panel, browser)


def picture(page: Page, file: Path) -> None:
    """Take a picture of the page as it is now."""
    page.mouse.move(0, 0)
    page.wait_for_timeout(2500)  # signs of activity come and go slowly; a load takes a moment to be drawn
    page.screenshot(path=file)


def report(folder: Path, pit: PanelInBrowser) -> None:
    """The report of the demo's rehearsal."""
    demo = ROOT / "presets"
    command = [str(BAYLEAF), "rehearse", str(demo / "demo.toml"), str(demo / "demo.mid"), "--out", str(folder / "r")]
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    page = pit.blank(REPORT)
    page.goto((folder / "r" / "report.html").as_uri())
    page.screenshot(path=PICTURES / "rehearsal.png")


def main() -> None:
    """Take them."""
    with tempfile.TemporaryDirectory() as folder, band(Path(folder)) as pit:
        if len(sys.argv) == 1:
            for name, size, theme, view in SHOWN:
                picture(pit.page(size, theme, view), PICTURES / f"{name}.png")
            report(Path(folder), pit)
            return
        for name, size in SIZES.items():
            for view in (*VIEWS, "help/front-panel"):
                picture(pit.page(size, view=view), Path(sys.argv[1]) / f"{view.replace('/', '-')}-{name}.png")


if __name__ == "__main__":
    main()
