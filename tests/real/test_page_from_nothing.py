"""A show made in the page alone, from an empty rig, with gear on JACK; its rig equals one that is written by hand."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, expect

from engine.rig.read.load import read
from tests.support.jack_ends import Box, Player
from tests.support.waiting import until

MOST = 90  # presses, and texts typed

BY_HAND = """
format = 2
[rig]
name = "New rig"
[inputs]
keys = { port = "Grand piano:out" }
pads = { port = "Drum pads:out" }
foot = { port = "Foot switch:out" }
[outputs]
bass = { port = "Bass box:in" }
brass = { port = "Brass box:in" }
[instruments.bass]
output = "bass"
channel = 2
sounds = { "Upright" = { program = 33 } }
[instruments.brass]
output = "brass"
channel = 1
sounds = { "Muted" = { program = 60 } }
[[scenes]]
number = 1
name = "Scene 1"
play = [ { from = "keys", on = "bass" } ]
[[controls]]
input = "foot"
when = { controller = 80 }
do = "next"
guard = "30 ms"
"""


class Hand:
    """A player's hand on the page; it counts what it does."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.actions = 0

    def press(self, what: Locator) -> None:
        self.actions += 1
        what.click()

    def type(self, what: Locator, text: str) -> None:
        self.actions += 1
        what.fill(text)

    def choose(self, what: Locator, value: str) -> None:
        self.actions += 1
        what.select_option(value)

    def use(self, port: str, name: str, channel: str | None = None) -> None:
        """Give a connected port a name."""
        row = self.page.locator("li.free", has_text=port)
        self.type(row.get_by_role("textbox"), name)
        if channel is not None:
            self.choose(row.get_by_role("combobox"), channel)
        self.press(row.get_by_role("button"))
        expect(self.page.locator(".thing", has_text=port)).to_be_visible()

    def sound(self, instrument: str, name: str, program: str) -> None:
        """Add a sound to an instrument, whose details are then open."""
        self.press(self.page.locator(f"[data-key='instruments {instrument}']"))
        drawer = self.page.locator(".drawer")
        self.type(drawer.locator("[name=sound]"), name)
        self.type(drawer.locator("[name=program]"), program)
        self.press(drawer.get_by_role("button", name="Add the sound"))
        expect(drawer.locator(".sounds")).to_contain_text(name)


class Stage:
    """`bayleaf run` without a file, its page, and players and boxes beside it."""

    def __init__(self, folder: Path, address: str) -> None:
        self.folder = folder
        self.address = address
        self.players = {name: Player(name) for name in ("Grand piano", "Drum pads", "Foot switch")}
        self.boxes = {name: Box(name) for name in ("Bass box", "Brass box")}

    def foot(self, page: Page) -> None:
        """Press the switch once; a foot takes its time."""
        for value in (127, 0):
            self.players["Foot switch"].play(bytes((0xB0, 80, value)))
            page.wait_for_timeout(400)

    def heard(self, box: str, wanted: tuple[int, int]) -> None:
        """Wait until this channel (0 to 15) and key sound there."""

        def sounds() -> int | None:
            self.boxes[box].listen()
            return self.boxes[box].synth.sounding.get(wanted)

        until(f"{wanted} at {box}", sounds)

    def close(self) -> None:
        for player in self.players.values():
            player.pull()
        for box in self.boxes.values():
            box.pull()


@contextmanager
def stage(folder: Path) -> Iterator[Stage]:
    """Nothing has been made yet."""
    home = {"XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state"), "HOME": str(folder)}
    command = (sys.executable, "-m", "engine.cli", "run", "--backend", "jack", "--panel-port", "0")
    with ExitStack() as stack:
        said = stack.enter_context((folder / "said.txt").open("w"))
        process = subprocess.Popen(command, env={**os.environ, **home}, stdout=subprocess.PIPE, stderr=said, text=True)
        assert process.stdout is not None
        stack.callback(process.stdout.close)
        stack.callback(process.wait)
        stack.callback(process.terminate)
        found = re.search(r"http://127\.0\.0\.1:\d+/", process.stdout.readline())
        assert found, (folder / "said.txt").read_text()
        made = Stage(folder, found[0])
        stack.callback(made.close)
        yield made


def test_a_show_is_made_in_the_page(jack_server: str, chromium: Browser, tmp_path: Path) -> None:
    """Ports named by playing them, instruments with sounds, a scene, a learned switch, saved; at most 90 actions."""
    with stage(tmp_path) as found:
        page = chromium.new_page(viewport={"width": 1366, "height": 768})
        page.set_default_timeout(20_000)
        page.goto(found.address)
        page.get_by_role("heading", name="Gear").wait_for()
        hand = Hand(page)
        expect(page.locator("li.free")).to_have_count(5)
        found.players["Grand piano"].play(bytes((0x90, 60, 64)))
        found.players["Grand piano"].play(bytes((0x80, 60, 64)))
        expect(page.locator("li.free.playing")).to_contain_text("Grand piano")
        hand.use("Grand piano", "keys")
        hand.use("Drum pads", "pads")
        hand.use("Foot switch", "foot")
        hand.use("Bass box", "bass", "2")
        hand.use("Brass box", "brass")
        steps = page.locator(".first-steps")
        hand.press(steps.get_by_role("button", name="keys"))
        hand.press(steps.get_by_role("button", name="bass", exact=True))
        hand.sound("bass", "Upright", "33")
        hand.sound("brass", "Muted", "60")
        hand.press(page.get_by_role("button", name="Learn a switch"))
        for _ in range(3):
            found.foot(page)
        expect(page.locator(".learning")).to_contain_text("pressed 3 of 3 times")
        hand.press(page.get_by_role("button", name="Use it"))
        hand.type(steps.get_by_role("textbox"), "pit.toml")
        hand.press(steps.get_by_role("button", name="Save"))
        expect(steps).to_be_hidden()
        saved = tmp_path / "pit.toml"
        assert until("the file", saved.exists)
        made = read(saved.read_text(encoding="utf-8"), "made")
        by_hand = read(BY_HAND, "by hand")
        assert made.model_dump() == by_hand.model_dump()
        found.players["Grand piano"].play(bytes((0x90, 60, 64)))
        found.heard("Bass box", (1, 60))
        print(f"{hand.actions} actions")
        assert hand.actions <= MOST
        page.close()
