"""A show made in the page alone, from an empty rig, on JACK with FluidSynth as gear, and then played: with the mouse,
beside a second browser; and by keyboard alone on a narrow screen. Its rig equals one that is written by hand."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from engine.rig.read.load import read
from tests.support.fluidsynth import FluidSynth
from tests.support.jack_ends import Box, Player
from tests.support.page_hands import Hand, Keyboard, Mouse
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
bass = { port = "fluidsynth-midi:midi_00" }
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
play = [ { from = "keys", on = "bass", sound = "Upright" } ]
[[scenes]]
number = 2
name = "Split"
play = [
  { from = "keys", on = "bass", sound = "Upright", notes = "..B3" },
  { from = "keys", on = "brass", sound = "Muted", notes = "C4.." },
]
[[scenes]]
number = 3
name = "Layer"
play = [ { from = "keys", on = "bass", sound = "Upright" }, { from = "keys", on = "brass", sound = "Muted" } ]
[[scenes]]
number = 4
name = "Pads"
play = [ { from = "pads", on = "brass", sound = "Muted", transpose = -12 } ]
[[setlists]]
name = "Friday"
scenes = [1, 2, 3, 4]
[[controls]]
input = "foot"
when = { controller = 80 }
do = "next"
guard = "30 ms"
"""


#: scenes after the first, and what sounds in each: player, key, whether the bass sounds, the key of the brass
SHOW = (
    ("Split", (("Grand piano", 59, True, None), ("Grand piano", 60, False, 60))),
    ("Layer", (("Grand piano", 60, True, 60),)),
    ("Pads", (("Grand piano", 60, False, None), ("Drum pads", 60, False, 48))),
)


class Stage:
    """`bayleaf run` without a file, its page, and beside it players, a synth and a box."""

    def __init__(self, folder: Path, address: str, synth: FluidSynth) -> None:
        self.folder = folder
        self.address = address
        self.synth = synth
        self.players = {name: Player(name) for name in ("Grand piano", "Drum pads", "Foot switch")}
        self.brass = Box("Brass box")

    def page(self, browser: Browser, size: tuple[int, int], place: str = "") -> Page:
        """A page of this size, which counts pointers that touch it."""
        page = browser.new_page(viewport={"width": size[0], "height": size[1]})
        page.set_default_timeout(20_000)
        page.add_init_script("window.touched = 0; addEventListener('pointerdown', () => { touched += 1; });")
        page.goto(self.address + place)
        return page

    def foot(self) -> None:
        """Press the switch once; a foot takes its time."""
        for value in (127, 0):
            self.players["Foot switch"].play(bytes((0xB0, 80, value)))
            time.sleep(0.4)

    def key(self, player: str, key: int) -> None:
        """Strike a key and release it."""
        for message in (bytes((0x90, key, 64)), bytes((0x80, key, 64))):
            self.players[player].play(message)

    def sounds(self, player: str, key: int, bass: bool, brass: int | None) -> None:
        """While this player holds this key, the bass sounds at the synth or not, and this key at the brass, or none."""
        self.players[player].play(bytes((0x90, key, 64)))
        until("what sounds", lambda: (self.synth.voices() > 0, self._at_brass()) == (bass, brass))
        self.players[player].play(bytes((0x80, key, 64)))
        until("silence", lambda: (self.synth.voices(), self._at_brass()) == (0, None))

    def _at_brass(self) -> int | None:
        self.brass.listen()
        return next(
            (key for (channel, key), count in self.brass.synth.sounding.items() if count and channel == 0), None
        )

    def close(self) -> None:
        for player in self.players.values():
            player.pull()
        self.brass.pull()


@contextmanager
def stage(folder: Path, synth: FluidSynth) -> Iterator[Stage]:
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
        made = Stage(folder, found[0], synth)
        stack.callback(made.close)
        yield made


def _gear(hand: Hand, found: Stage) -> None:
    """Ports named, the first of them by playing it; instruments with sounds; the first line; a learned switch."""
    page = hand.page
    page.get_by_role("heading", name="Gear", exact=True).wait_for()
    expect(page.locator("li.free")).to_have_count(5)
    found.key("Grand piano", 60)
    expect(page.locator("li.free.playing")).to_contain_text("Grand piano")
    hand.use("Grand piano", "keys")
    hand.use("Drum pads", "pads")
    hand.use("Foot switch", "foot")
    hand.use("fluidsynth", "bass", "2")
    hand.use("Brass box", "brass")
    steps = page.locator(".first-steps")
    hand.press(steps.get_by_role("button", name="keys"))
    hand.press(steps.get_by_role("button", name="bass", exact=True))
    hand.sound("bass", "Upright", "33")
    hand.sound("brass", "Muted", "60")
    hand.back_to_list()
    hand.press(page.get_by_role("button", name="Learn a switch"))
    expect(page.locator(".learning")).to_contain_text("Press the switch three times")
    for _ in range(3):
        found.foot()
    expect(page.locator(".learning")).to_contain_text("pressed 3 of 3 times")
    hand.press(page.get_by_role("button", name="Use it"))
    expect(page.locator("#view-gear .drawer h2")).to_contain_text("controller 80")


def _four_scenes(hand: Hand, found: Stage) -> None:
    """A single sound, a split whose ends are played, a layer, and pads an octave down."""
    page = hand.page
    hand.press(page.get_by_role("link", name="Scenes"))
    hand.press(page.locator("ol[aria-label^=Scenes]").get_by_role("button", name="1 Scene 1"))
    hand.press(hand.hole(0, "sound").get_by_role("button", name="Upright", exact=True))
    expect(page.locator(".sentence")).to_contain_text("Upright")
    hand.scene("Split")
    hand.line(0, "bass", "Upright", "keys plays Upright")
    hand.press(hand.hole(0, "notes").get_by_role("button", name="Play the highest"))
    page.get_by_role("button", name="Press the key").wait_for()
    page.wait_for_timeout(500)
    found.key("Grand piano", 59)
    expect(page.locator(".sentence").nth(0)).to_contain_text("up to B3")
    hand.line(1, "brass", "Muted", "keys plays Muted")
    hand.enter(hand.hole(1, "notes").get_by_label("Lowest note"), "C4")
    expect(page.locator(".sentence").nth(1)).to_contain_text("from C4 up")
    hand.scene("Layer")
    hand.line(0, "bass", "Upright", "keys plays Upright")
    hand.line(1, "brass", "Muted", "keys plays Muted")
    hand.scene("Pads")
    hand.line(0, "brass", "Muted", "keys plays Muted")
    control = hand.hole(0, "from")
    hand.press(control.get_by_role("button", name="pads"))
    expect(page.locator(".sentence")).to_contain_text("keys and pads")
    hand.press(control.get_by_role("button", name="keys"))
    expect(page.locator(".sentence")).not_to_contain_text("keys")
    hand.press(hand.hole(0, "transpose").get_by_role("button", name="Octave down"))
    expect(page.locator(".sentence")).to_contain_text("an octave down")


def _set_list(hand: Hand) -> None:
    """The four scenes in order."""
    page = hand.page
    scenes = page.locator("ol[aria-label^=Scenes]")
    hand.back_to_list()
    hand.press(scenes.get_by_role("button", name="1 Scene 1"))
    hand.back_to_list()
    hand.press(page.get_by_role("button", name="New set list"))
    made = page.locator("details.list")
    hand.press(made.locator("summary"))
    hand.enter(made.get_by_label("Name"), "Friday")
    expect(made.locator("summary")).to_contain_text("Friday: 1 entry")
    for number, name in ((2, "Split"), (3, "Layer"), (4, "Pads")):
        hand.press(scenes.get_by_role("button", name=f"{number} {name}"))
        hand.back_to_list()
        hand.press(made.get_by_role("button", name=f"Add {number} {name}"))
        expect(made.locator("summary")).to_contain_text(f"Friday: {number} entries")


def _saved(hand: Hand, found: Stage, by_hand: str) -> None:
    """It is saved where the player says, and equals what is written by hand; few actions made it."""
    steps = hand.page.locator(".first-steps")
    hand.type(steps.get_by_role("textbox"), "pit.toml")
    hand.press(steps.get_by_role("button", name="Save"))
    expect(steps).to_be_hidden()
    saved = found.folder / "pit.toml"
    assert until("the file", saved.exists)
    assert read(saved.read_text(encoding="utf-8"), "made").model_dump() == read(by_hand, "by hand").model_dump()
    print(f"{hand.actions} actions")
    assert hand.actions <= MOST


def _played(hand: Hand, found: Stage) -> None:
    """The show is played from its first scene to its last, each recalled by the switch that was learned."""
    found.sounds("Grand piano", 60, bass=True, brass=None)
    hand.press(hand.page.get_by_role("link", name="Show"))
    for name, sounds in SHOW:
        found.foot()
        expect(hand.page.locator("#scene-name")).to_have_text(name)
        for player, key, bass, brass in sounds:
            found.sounds(player, key, bass, brass)
    assert found.synth.sound(2) == "Acoustic Bass"


class Another:
    """A second browser, in which somebody else writes a text for the first scene."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._text = page.locator("#view-scenes").get_by_label("Text for the player")

    def begins(self) -> None:
        """Half of it."""
        self.page.locator("ol[aria-label^=Scenes]").get_by_role("button", name="1 Scene 1").click()
        self._text.click()
        self.page.keyboard.type("watch the dr")

    def ends(self) -> None:
        """All that was done meanwhile is there; what was typed is, too, with the focus in its place."""
        expect(self.page.locator("ol[aria-label^=Scenes]")).to_contain_text("Pads")
        expect(self.page.locator("details.list summary")).to_have_text("Friday: 4 entries")
        expect(self._text).to_be_focused()
        expect(self._text).to_have_value("watch the dr")
        self.page.keyboard.type("ummer")
        self.page.keyboard.press("Tab")


def test_a_show_is_made_in_the_page(synth: FluidSynth, chromium: Browser, tmp_path: Path) -> None:
    """Ports named by playing them, instruments with sounds, four scenes, a learned switch, a set list: saved after at
    most 90 actions, and played. A second browser edits at the same time, and what either has half typed stays."""
    with stage(tmp_path, synth) as found:
        page = found.page(chromium, (1920, 1080))
        hand = Hand(Mouse(page))
        _gear(hand, found)
        another = Another(found.page(chromium, (1366, 768), "#scenes"))
        another.begins()
        _four_scenes(hand, found)
        _set_list(hand)
        hand.press(page.get_by_role("link", name="Gear"))
        file = page.locator(".first-steps").get_by_role("textbox")
        file.fill("pi")
        another.ends()
        expect(another.page.locator("#view-scenes .bar")).to_contain_text("Undo: 1: text")
        expect(file).to_be_focused()
        expect(file).to_have_value("pi")
        by_hand = BY_HAND.replace('name = "Scene 1"', 'name = "Scene 1"\ntext = "watch the drummer"')
        _saved(hand, found, by_hand)
        _played(hand, found)
        expect(page.locator("#scene-name")).to_have_text("Pads")
        for each in (page, another.page):
            each.close()


def test_a_show_is_made_by_keyboard_alone(synth: FluidSynth, chromium: Browser, tmp_path: Path) -> None:
    """The same on a screen 360 pixels wide, where no pointer ever touches the page."""
    with stage(tmp_path, synth) as found:
        page = found.page(chromium, (360, 740))
        hand = Hand(Keyboard(page))
        _gear(hand, found)
        _four_scenes(hand, found)
        _set_list(hand)
        hand.press(page.get_by_role("link", name="Gear"))
        _saved(hand, found, BY_HAND)
        _played(hand, found)
        assert page.evaluate("touched") == 0
        page.close()
