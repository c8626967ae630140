"""An engine on JACK ports with its page: the panel as a process of its own, players, boxes, a browser."""

import re
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.support.engine_process import Engine, engine
from tests.support.jack_ends import Box, Player
from tests.support.paths import BAYLEAF
from tests.support.waiting import until

VIEWS = {
    "show": "Show",
    "scenes": "Scenes",
    "patch": "Patch",
    "flow": "Flow",
    "monitor": "Monitor",
    "gear": "Gear",
    "help": "Help",
}
PHONE, TABLET, SCREEN = (360, 740), (820, 1180), (1920, 1080)
LONGEST = 20_000  # ms that anything on the page may take

RIG = """
format = 2
[rig]
name = "Pit with a page"
start = "Overture"
[inputs]
keys = { port = "Page piano*" }
pads = { port = "Page pads*" }
[outputs]
strings = { port = "Page box 1*", wire = "din" }
brass = { port = "Page box 2*" }
[instruments.string-machine]
output = "strings"
channel = 5
sounds = { "Warm pad" = { program = 12 }, "Tremolo" = { program = 45 } }
[[routes]]
name = "pads to brass"
from = "pads"
to = "brass"
[[scenes]]
number = 11
name = "Overture"
routes = [ { from = "keys", to = "strings" } ]
burst = [ { instrument = "string-machine", sound = "Warm pad" } ]
[[scenes]]
number = 12
name = "Street at night"
text = "watch the drummer\\nbar 40"
routes = [ { from = "keys", to = "brass", through = [ { filter = "transpose", semitones = -12 } ] } ]
[[scenes]]
number = 13
name = "Finale"
[[songs]]
name = "Market"
transpose = 2
text = "capo on"
scenes = [12]
[[setlists]]
name = "Friday"
scenes = [11, 12, 13]
[sync.clock]
from = "internal"
bpm = 96
to = ["brass"]
"""
#: the same in format 2, with a scene that has a play line, and one that is like it
RIG_2 = (
    RIG.replace("format = 1", "format = 2")
    .replace('routes = [ { from = "keys", to = "strings" } ]\n', "")
    .replace('burst = [ { instrument = "string-machine", sound = "Warm pad" } ]\n', "")
    + """
[[scenes]]
number = 14
name = "Waltz"
play = [ { from = "keys", on = "string-machine" } ]
[[scenes]]
number = 15
name = "Waltz again"
like = 14
"""
)
#: the same with a player who has scenes of her own
RIG_PLAYERS = f"""{RIG}
[[scenes]]
number = 21
name = "Fanfare"
routes = [ {{ from = "pads", to = "strings" }} ]
[[scenes]]
number = 22
name = "Lament"
[[setlists]]
name = "Anna, act 1"
scenes = [21, 22]
[[players]]
name = "anna"
inputs = ["pads"]
setlist = "Anna, act 1"
"""


class Panel:
    """`bayleaf panel` beside an engine; when it is ended and started again, it keeps its address."""

    def __init__(self, beside: Engine) -> None:
        self._beside = beside
        self._port = 0
        self.process: subprocess.Popen[str]

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self._port}/"

    def start(self) -> None:
        """Start to serve; returns when it answers."""
        command = [str(BAYLEAF), "panel", "--name", self._beside.name, "--port", str(self._port)]
        self.process = subprocess.Popen(command, env=self._beside.environment, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", said)
        assert found, said
        self._port = int(found[1])

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


class PanelInBrowser:
    """All of it, and a browser's page on it."""

    def __init__(self, running: Engine, panel: Panel, browser: Browser) -> None:
        self.engine = running
        self.panel = panel
        self._browser = browser
        self.said: list[str] = []  # errors on the browser's console and in its scripts
        self.boxes: dict[str, Box] = {}
        self.players: dict[str, Player] = {}

    def page(
        self, size: tuple[int, int] = SCREEN, theme: Literal["dark", "light"] = "dark", view: str = "show"
    ) -> Page:
        """A page of this size, once it shows the rig."""
        page = self.blank(size)
        page.goto(f"{self.panel.address}#{view}")
        page.locator("#scenes > li").first.wait_for(state="attached")
        expect(page.locator("#scene-number")).not_to_have_text("–")
        if theme == "light":
            page.get_by_role("button", name="Light theme").click()
        return page

    def blank(self, size: tuple[int, int] = SCREEN) -> Page:
        """A page with no address yet, in a browser that has stored nothing."""
        page = self._browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme="dark")
        page.set_default_timeout(LONGEST)
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda fault: self.said.append(str(fault)))
        return page

    def heard(self, box: str, wanted: tuple[int, int]) -> None:
        """Wait until this channel (0 to 15) and key sound at this box."""
        until(f"{wanted} at {box}", lambda: self.sounding(box).get(wanted))

    def sounding(self, box: str) -> dict[Any, int]:
        """Channel and key of each note that sounds."""
        self.boxes[box].listen()
        return {place: count for place, count in self.boxes[box].synth.sounding.items() if count}

    def scene(self) -> int:
        """The current scene, according to the engine."""
        answer = self.engine.request("status")
        assert answer is not None
        return int(answer["status"]["scene"]["number"])


@contextmanager
def pit(folder: Path, browser: Browser, rig: str = RIG, options: tuple[str, ...] = ()) -> Iterator[PanelInBrowser]:
    """Players and boxes are connected to the engine's ports by the names that the rig's patterns match."""
    with ExitStack() as stack:
        boxes = {name: Box(f"Page box {number}") for number, name in ((1, "strings"), (2, "brass"))}
        players = {name: Player(f"Page {word}") for name, word in (("keys", "piano"), ("pads", "pads"))}
        for pull in (*(box.pull for box in boxes.values()), *(player.pull for player in players.values())):
            stack.callback(pull)
        running = stack.enter_context(engine(folder, rig, "--backend", "jack", *options))
        panel = Panel(running)
        panel.start()
        stack.callback(panel.kill)
        found = PanelInBrowser(running, panel, browser)
        found.boxes, found.players = boxes, players
        yield found


def answered(page: Page, text: str) -> None:
    """Wait until the dock says this as an answer: while it is requested, the request's words are there."""
    expect(page.locator("#dock-said:not([data-state=asked])")).to_contain_text(text)


def in_force(page: Page, number: int, name: str) -> None:
    expect(page.locator("#scene-number")).to_have_text(str(number))
    expect(page.locator("#scene-name")).to_have_text(name)


def violations(page: Page, within: str | None = None) -> list[str]:
    """What axe-core finds on the page, or in a part of it, as its rule and the first place."""
    found: list[dict[str, Any]] = Axe().run(page, context=within).response["violations"]
    return [f"{each['id']}: {each['nodes'][0]['html']}" for each in found]
