"""A real engine with its panel, and Debian's Chromium that looks at it."""

import os
import re
import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import rtmidi
from playwright.sync_api import Browser, Page, Playwright, expect
from stagehand import Engine, engine, joined, wait_for

JACK = rtmidi.API_UNIX_JACK
TITLE = re.compile(" – Bayleaf$")  # of a page that has heard from the engine
VIEWS = ("show", "wiring", "flow", "monitor", "gear")
RIG = """# the pit, in October
format = 1
[rig]
name = "Lantern Street pit band"
start = 11
[inputs]
keys = { port = "Stage piano" }
pedals = { port = "Foot controller" }   # the worn one
[outputs]
strings = { port = "Strings", wire = "din" }
drums = { port = "Drums" }
[instruments.string-machine]
output = "strings"
channel = 1
sounds = { "Warm pad" = { bank = [0, 3], program = 12 }, "Solo violin" = { bank = [0, 1], program = 41 } }
[[routes]]
from = "pedals"
to = "strings"
[[scenes]]
number = 11
name = "Overture"
routes = [ { name = "pads", from = "keys", to = "strings", through = [ { filter = "transpose", semitones = -12 } ] } ]
burst = [ { instrument = "string-machine", sound = "Warm pad" } ]
[[scenes]]
number = 12
name = "Street at night"
routes = [ { from = "keys", to = "strings" } ]
[[scenes]]
number = 14
name = "Finale"
[[setlists]]
name = "Friday"
scenes = [11, 12, 14]
[[controls]]
input = "pedals"
when = { program = "any" }
do = "scene"
"""


@contextmanager
def chromium(playing: Playwright, *options: str) -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    browser = playing.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", *options])
    try:
        yield browser
    finally:
        browser.close()


def free_port() -> int:
    """A TCP port of this machine that nobody has."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Stage:
    """An engine on JACK's ports with its panel, one who plays to it and one who hears it, and a browser's page."""

    def __init__(self, running: Engine, address: str, ears: dict[str, Any], hands: dict[str, Any]) -> None:
        self.engine, self.address, self.ears, self.hands = running, address, ears, hands
        self.told: list[str] = []  # what the browser complained of

    def scene(self) -> int | None:
        """The number of the scene in force, as the engine says."""
        answer = self.engine.request("status")
        return answer and answer["status"]["scene"]["number"]

    def until_scene(self, number: int) -> None:
        """Wait until this scene is in force."""
        wait_for(f"scene {number}", lambda: self.scene() == number)

    def open(self, browser: Browser, view: str = "show", **kind: Any) -> Page:
        """A new page on this view, which has heard from the engine. What it complains of is in `told`."""
        page = browser.new_page(**({"viewport": {"width": 1280, "height": 800}} | kind))
        page.on("console", lambda message: self.told.append(message.text))
        page.on("pageerror", lambda fault: self.told.append(str(fault)))
        page.goto(f"{self.address}#{view}")
        expect(page).to_have_title(TITLE, timeout=20_000)
        return page

    def panel_process(self) -> int:
        """The id of the panel's process."""
        listed = subprocess.run(
            ["pgrep", "-P", str(self.engine.process.pid), "-f", "panel"], capture_output=True, text=True
        )
        return int(listed.stdout.split()[0])

    def kill_panel(self) -> None:
        """As a crash of the panel does."""
        os.kill(self.panel_process(), signal.SIGKILL)


def answers(address: str) -> bool:
    """Whether the panel's port is open."""
    host, port = address.removeprefix("http://").rstrip("/").split(":")
    try:
        socket.create_connection((host, int(port)), timeout=1).close()
    except OSError:
        return False
    return True


@contextmanager
def stage(folder: Path, rig: str = RIG) -> Iterator[Stage]:
    """JACK must run already."""
    port = free_port()
    address = f"http://127.0.0.1:{port}/"
    options = ("--virtual", "--backend", "jack", "--panel", "--panel-port", str(port))
    with (
        engine(folder, rig, *options) as running,
        joined(rtmidi.MidiIn, JACK, "ear strings", lambda name: "pit" in name and name.endswith("strings")) as strings,
        joined(rtmidi.MidiIn, JACK, "ear drums", lambda name: "pit" in name and name.endswith("drums")) as drums,
        joined(rtmidi.MidiOut, JACK, "hands", lambda name: "pit" in name and name.endswith("keys")) as keys,
        joined(rtmidi.MidiOut, JACK, "feet", lambda name: "pit" in name and name.endswith("pedals")) as pedals,
    ):
        wait_for("the panel", lambda: answers(address))
        yield Stage(running, address, {"strings": strings, "drums": drums}, {"keys": keys, "pedals": pedals})
