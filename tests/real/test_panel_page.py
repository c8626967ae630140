"""The front panel in a real browser, on a real engine on JACK's ports. Accessibility: WCAG 2.2 AA by axe-core."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from conftest import need
from page_ends import TITLE, VIEWS, Stage, chromium, stage
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright
from stagehand import hear, wait_for

PRESSED, RELEASED = bytes.fromhex("90 3C 40"), bytes.fromhex("80 3C 40")
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
#: what is wider than the page or the part of it that scrolls, and by how much
BEYOND = """["html", "#page"].map((name) => [name, document.querySelector(name)])
    .map(([name, e]) => [name, e.scrollWidth - e.clientWidth]).filter(([, more]) => more > 0)"""
WEIGHT = 150_000  # bytes over the wire, the issue's own bound


@pytest.fixture(scope="module")
def playing() -> Iterator[Playwright]:
    need("chromium")
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="module")
def browser(playing: Playwright) -> Iterator[Browser]:
    with chromium(playing) as found:
        yield found


@pytest.fixture
def pit(jack_server: str, tmp_path: Path) -> Iterator[Stage]:
    with stage(tmp_path) as found:
        yield found


def press(page: Page, name: str, **more: Any) -> None:
    """The one button of this whole name."""
    page.get_by_role("button", name=name, exact=True, **more).click()


def test_a_recall_is_confirmed_by_the_engine(pit: Stage, browser: Browser) -> None:
    """Next, back and a jump recall; the page shows name and number once the engine has answered, whoever recalled."""
    page = pit.open(browser)
    name, number = page.locator("#scene-name"), page.locator("#scene-number")
    expect(name).to_have_text("Overture")
    expect(page.locator("#next-scene")).to_contain_text("Street at night")
    press(page, "Next")
    expect(name).to_have_text("Street at night")
    pit.until_scene(12)
    press(page, "Back")
    expect(number).to_have_text("11")
    page.get_by_label("Find by number or name").fill("fin")
    page.get_by_role("button", name="14 Finale").click()
    expect(name).to_have_text("Finale")
    pit.until_scene(14)
    press(page, "Next")
    expect(page.locator("#dock-said")).to_contain_text("the end of the set list Friday")
    pit.hands["pedals"].send_message(bytes((0xC0, 11)))
    expect(name).to_have_text("Street at night")
    assert pit.told == []


def test_a_route_is_made_undone_redone_and_saved(pit: Stage, browser: Browser) -> None:
    """A click joins an input to an output, at once to be heard; unsaved until saved, with what the read-back proved."""
    page = pit.open(browser, "wiring")
    way = page.get_by_role("button", name="keys to drums")
    expect(way).to_have_attribute("aria-pressed", "false")
    way.click()
    expect(way).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_text("Unsaved: what plays is not in the rig file yet.")).to_be_visible()
    pit.hands["keys"].send_message(PRESSED)
    pit.hands["keys"].send_message(RELEASED)
    assert hear(pit.ears["drums"], 2) == [PRESSED, RELEASED]
    press(page, "Undo")
    expect(way).to_have_attribute("aria-pressed", "false")
    press(page, "Redo")
    expect(way).to_have_attribute("aria-pressed", "true")
    press(page, "Save")
    expect(page.locator(".save-said")).to_contain_text("read back: it is what plays")
    expect(page.get_by_text("Saved: the rig file holds what plays.")).to_be_visible()
    text = pit.engine.file.read_text(encoding="utf-8")
    assert text.startswith("# the pit, in October\n")
    assert '"drums"' in text.split("[[scenes]]")[1]
    assert pit.told == []


def test_a_chain_and_a_burst_are_edited_by_forms(pit: Stage, browser: Browser) -> None:
    """The forms come from the filters' own settings; a faulty value is told with its place and nothing changes."""
    page = pit.open(browser, "wiring")
    press(page, "keys: its routes and filters")
    press(page, "Edit the filters of route 1")
    field = page.get_by_label("semitones", exact=False).first
    field.fill("300")
    press(page, "Play this chain")
    expect(page.locator(".chain .fault")).to_contain_text("semitones")
    field.fill("12")
    press(page, "Play this chain")
    expect(page.locator(".chain")).to_have_count(0)
    pit.hands["keys"].send_message(PRESSED)
    pit.hands["keys"].send_message(RELEASED)
    heard = [message for message in hear(pit.ears["strings"], 2) if message[0] in (0x80, 0x90)]
    assert [message[1] for message in heard] == [72, 72]
    press(page, "Edit the sounds")
    page.locator(".burst select").filter(has_text="Solo violin").first.select_option("Solo violin")
    page.locator(".burst").get_by_role("button", name="Play", exact=False).first.click()
    expect(page.locator(".burst")).to_contain_text("string-machine: Solo violin")
    assert bytes((0xC0, 40)) in hear(pit.ears["strings"], 3)
    assert pit.told == []


def test_panic_is_one_gesture_that_a_touch_is_not(pit: Stage, browser: Browser) -> None:
    """A click does nothing; held, panic releases what sounds."""
    page = pit.open(browser)
    pit.hands["keys"].send_message(PRESSED)
    wait_for("the note", lambda: pit.engine.request("status")["status"]["sounding"] == 1)
    button = page.get_by_role("button", name="Panic")
    button.click()
    page.wait_for_timeout(700)
    assert pit.engine.request("status")["status"]["sounding"] == 1
    button.click(delay=900)
    expect(page.locator("#dock-said")).to_contain_text("1 note released")
    assert pit.engine.request("status")["status"]["sounding"] == 0
    assert bytes((0x80, 48, 64)) in hear(pit.ears["strings"], 2)


def test_it_comes_back_by_itself(pit: Stage, browser: Browser) -> None:
    """With the engine or the panel gone the page says that what it shows is old; it goes on when they are back."""
    page = pit.open(browser)
    old = page.locator("#old")
    pit.kill_panel()
    expect(old).to_contain_text("What is shown is old", timeout=20_000)
    expect(old).to_be_hidden(timeout=30_000)
    press(page, "Next")
    expect(page.locator("#scene-name")).to_have_text("Street at night")
    pit.engine.kill()
    expect(old).to_contain_text("What is shown is old", timeout=20_000)
    pit.engine.start()
    expect(old).to_be_hidden(timeout=40_000)
    expect(page.locator("#scene-name")).to_have_text("Overture")
    press(page, "Next")
    expect(page.locator("#scene-name")).to_have_text("Street at night")


def test_the_monitor_says_what_passes(pit: Stage, browser: Browser) -> None:
    """In words, filtered, frozen; a click on a line shows the message's way through the scene."""
    page = pit.open(browser, "monitor")
    expect(page.get_by_text("The newest is on top.")).to_be_visible()
    pit.hands["keys"].send_message(PRESSED)
    line = page.locator(".passing button", has_text="in keys").first
    expect(line).to_contain_text("note on C4")
    press(page, "Freeze")
    pit.hands["keys"].send_message(RELEASED)
    expect(page.get_by_text("Frozen; ")).to_be_visible()
    expect(page.locator(".passing")).not_to_contain_text("note off")
    line.click()
    expect(page.locator(".explained")).to_contain_text("transpose")
    expect(page.locator(".explained")).to_contain_text("90 30 40")
    press(page, "Go on")
    page.get_by_label("notes").uncheck()
    expect(page.locator(".passing")).not_to_contain_text("note")
    assert pit.told == []


def test_faults_are_found(pit: Stage, browser: Browser) -> None:
    """A test note reaches its instrument and ends; ports are listed; two scenes are compared in words."""
    page = pit.open(browser, "gear")
    press(page, "Test note: string-machine")
    heard = [message for message in hear(pit.ears["strings"], 2) if message[0] & 0xE0 == 0x80]
    assert [message[0] >> 4 for message in heard] == [9, 8]
    expect(page.locator(".ports")).to_contain_text("Can be heard")
    page.get_by_label("The second").select_option("14")
    press(page, "Compare")
    expect(page.locator("#view-gear")).to_contain_text("name: Overture in 11, Finale in 14")
    assert pit.told == []


def test_by_keyboard_alone(pit: Stage, browser: Browser) -> None:
    """Every view and every action of a show is had without a pointer, and what has the focus is marked."""
    page = pit.open(browser)
    page.keyboard.press("n")
    expect(page.locator("#scene-name")).to_have_text("Street at night")
    page.keyboard.type("14")
    page.keyboard.press("Enter")
    expect(page.locator("#scene-name")).to_have_text("Finale")
    for name in ("Wiring", "Flow", "Monitor", "Gear", "Show"):
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.textContent") == name:
                break
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        page.keyboard.press("Enter")
        expect(page.locator(f"#view-{name.lower()}")).to_be_visible()
    page.keyboard.press("p")
    page.keyboard.press("p")
    expect(page.locator("#dock-said")).to_contain_text("panic")


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_every_view_is_accessible(pit: Stage, browser: Browser, theme: str) -> None:
    """No violation of WCAG 2.2 AA by axe-core, on a phone and on a large screen, with a route and a form open."""
    found = []
    for width, height in ((360, 740), (1920, 1080)):
        page = pit.open(browser, viewport={"width": width, "height": height})
        if theme == "light":
            press(page, "Light theme")
        for view in VIEWS:
            page.goto(f"{pit.address}#{view}")
            expect(page.locator(f"#view-{view}")).to_be_visible()
            if view == "wiring":
                page.locator("button.input:visible, th button:visible").first.click()
                press(page, "Edit the filters of route 1")
                press(page, "Edit the sounds")
            problems = Axe().run(page, options=RULES).response["violations"]
            found += [(width, view, each["id"], each["nodes"][0]["html"]) for each in problems]
        page.close()
    assert found == []


@pytest.mark.parametrize("text", [16, 32])
def test_nothing_is_beyond_the_edge(pit: Stage, playing: Playwright, text: int) -> None:
    """No view scrolls sideways, nor with text at twice its size; the main actions stay in sight."""
    found = []
    with chromium(playing, f"--blink-settings=defaultFontSize={text}") as reader:
        for width in (360, 820, 1920):
            page = pit.open(reader, viewport={"width": width, "height": 740})
            for view in VIEWS:
                page.goto(f"{pit.address}#{view}")
                expect(page.locator(f"#view-{view}")).to_be_visible()
                wide = page.evaluate(BEYOND)
                found += [(width, view, each) for each in wide]
                expect(page.get_by_role("button", name="Next", exact=True)).to_be_in_viewport()
            page.close()
    assert found == []


def test_it_weighs_little_and_stays_with_us(pit: Stage, browser: Browser) -> None:
    """All files together are under the bound, and nothing is asked of anybody else."""
    asked: list[str] = []
    sizes: list[int] = []
    page = browser.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on(
        "requestfinished",
        lambda request: sizes.append(sum(request.sizes()[key] for key in ("responseBodySize", "responseHeadersSize"))),
    )
    page.goto(pit.address)
    expect(page).to_have_title(TITLE)
    assert len(sizes) > 5
    assert sum(sizes) < WEIGHT
    assert [url for url in asked if not url.startswith(pit.address)] == []


def test_names_are_text(jack_server: str, tmp_path: Path, browser: Browser) -> None:
    """What a rig names is shown as it is written and never run."""
    evil = "<img src=x onerror=document.title='gone'>"
    rig = f"""
format = 1
[rig]
name = "{evil}"
[inputs]
keys = {{ port = "Stage piano" }}
pedals = {{ port = "Foot controller" }}
"in {evil}" = {{ port = "{evil}" }}
[outputs]
strings = {{ port = "Strings" }}
drums = {{ port = "Drums" }}
"out {evil}" = {{ port = "Box" }}
[instruments."synth {evil}"]
output = "out {evil}"
channel = 1
sounds = {{ "sound {evil}" = {{ program = 1 }} }}
[[scenes]]
number = 1
name = "Scene {evil}"
routes = [ {{ name = "route {evil}", from = ["keys", "in {evil}"], to = ["strings", "out {evil}"] }} ]
burst = [ {{ instrument = "synth {evil}", sound = "sound {evil}" }} ]
"""
    with stage(tmp_path, rig) as pit:
        page = pit.open(browser)
        expect(page.locator("#scene-name")).to_have_text(f"Scene {evil}")
        for view in VIEWS:
            page.goto(f"{pit.address}#{view}")
            if view == "monitor":
                pit.hands["keys"].send_message(PRESSED)
                pit.hands["keys"].send_message(RELEASED)
                page.locator(".passing button", has_text="out strings").first.click()
            if view == "wiring":
                press(page, f"in {evil}: its routes and filters")
            expect(page.locator(f"#view-{view}")).to_be_visible()
            page.wait_for_timeout(300)
            assert page.locator("img").count() == 0
        assert page.title() != "gone"
        assert pit.told == []
