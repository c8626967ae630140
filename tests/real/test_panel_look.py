"""The page is accessible: axe-core, small screens, large text, hostile names, weight."""

from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from tests.support.panel_in_browser import PHONE, RIG, SCREEN, TABLET, VIEWS, PanelInBrowser, pit, violations
from tests.support.waiting import until

MOST = 150_000  # bytes transferred
#: what can be pressed and is less than 44 pixels high; a tick box counts with its label
SMALL = """() => [...document.querySelectorAll("button, input, select, textarea, summary, a[href]")].filter((each) => {
  const target = each.type === "checkbox" ? each.closest("label") ?? each : each;
  const within = each.tagName === "A" && each.closest(".handbook, .skip, p") !== null;
  const { height } = target.getBoundingClientRect();
  return each.checkVisibility() && !within && !each.classList.contains("skip") && height < 43.9;
}).map((each) => `${each.outerHTML.slice(0, 120)} ${each.getBoundingClientRect().height}`)"""
#: gives the page a rig of 32 inputs and 40 outputs, without an engine that has so many
LARGE = """async () => {
  const { held } = (await import("/page/main.js")).modules["connection.js"];
  const names = (count, stem) => Array.from({ length: count }, (_, index) => `${stem}-${index + 1}`);
  const [output] = held.rig.outputs;
  held.facts.undo = "11: keys plays Warm pad on string-machine, up to B3";
  held.rig.inputs = names(32, "player");
  held.rig.outputs = names(40, "strings-rack").map((name) => ({ ...output, name }));
}"""
HOSTILE = "<img src=x onerror=alert(1)>"


def _turn(page: Page, view: str) -> None:
    page.evaluate("view => { location.hash = view; }", view)
    page.locator(f"#view-{view}").wait_for()
    if view == "flow":
        page.locator(".drawing").wait_for()
    if view == "help":
        page.locator(".topics a").first.wait_for()
    if view == "gear":
        expect(page.locator(".things .thing").first).to_contain_text("Page")


@pytest.mark.parametrize("theme", ["dark", "light"])
@pytest.mark.parametrize("size", [PHONE, SCREEN], ids=["phone", "screen"])
def test_axe_finds_nothing_on_any_view(
    look_pit: PanelInBrowser, theme: Literal["dark", "light"], size: tuple[int, int]
) -> None:
    """WCAG 2.2 as far as axe-core can judge it: zero violations, with forms and the list of keys open too."""
    page = look_pit.page(size, theme)
    for view in VIEWS:
        _turn(page, view)
        assert violations(page) == [], view
    page.evaluate("location.hash = 'help/commands'")
    page.get_by_role("heading", name="Commands").wait_for()
    assert violations(page) == []
    _turn(page, "patch")
    page.locator("#view-patch").get_by_role("button", name="keys").first.click()
    page.get_by_role("button", name="Edit filters of route 1").click()
    page.get_by_label("Another filter").select_option("zone")
    page.get_by_role("button", name="Add the filter").click()
    page.get_by_role("button", name="Edit sounds").click()
    assert violations(page) == []
    page.get_by_role("button", name="Keys", exact=True).click()
    assert violations(page) == []
    assert look_pit.said == []


def test_axe_finds_nothing_in_any_form(two_pit: PanelInBrowser) -> None:
    """Zero violations with each control of a sentence open, with the details of all that Gear lists or that is being
    made there, and with a message to be traced."""
    page = two_pit.page(PHONE, "light", "scenes")
    page.get_by_role("button", name="14 Waltz", exact=True).click()
    for hole in ("from", "sound", "on"):
        page.locator(f"[data-key='hole 0 {hole}']").click()
        assert violations(page, ".line") == [], hole
    for hole in ("notes", "velocity", "transpose", "channel", "through", "name"):
        page.locator("[data-key='hole 0 more']").click()
        page.locator(f".control [data-key='{hole}']").click()
        page.locator(f"[data-key='control {hole}']").wait_for()
        assert violations(page, ".line") == [], hole
        page.keyboard.press("Escape")
    _turn(page, "gear")
    for thing in page.locator(".things .thing[data-key]").all():
        thing.click()
        for more in page.locator("#view-gear .drawer details:not([open]) > summary").all():
            more.click()
        assert violations(page, "#view-gear .drawer") == [], page.locator("#view-gear .drawer h2").inner_text()
        page.locator("#view-gear .drawer").get_by_role("button", name="Close").click()
        expect(thing).to_be_focused()
    for made in ("Add a light", "Add a display"):
        page.get_by_role("button", name=made).click()
        assert violations(page, "#view-gear .drawer") == [], made
        page.locator("#view-gear .drawer").get_by_role("button", name="Close").click()
    _turn(page, "monitor")
    page.get_by_text("Trace a message that you type").click()
    assert violations(page, "#view-monitor") == []
    assert two_pit.said == []


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_axe_finds_nothing_where_gear_or_the_engine_is_missing(
    jack_server: str, chromium: Browser, tmp_path: Path, theme: Literal["dark", "light"]
) -> None:
    """Zero violations with all gear gone, and when the engine has ended, whose rig can then not be edited; a page that
    is opened without an engine says when its rooms will have something to show."""
    views = ("show", "scenes", "patch", "gear")
    with pit(tmp_path, chromium, RIG.replace('port = "Page', 'port = "Nowhere')) as found:
        page, fresh = found.page(PHONE, theme), found.blank(PHONE)
        fresh.emulate_media(color_scheme=theme)
        for view in views:
            page.evaluate("view => { location.hash = view; }", view)
            assert violations(page) == [], view
        found.engine.kill()
        expect(page.locator("#old")).to_be_visible()
        fresh.goto(f"{found.panel.address}#gear")
        expect(fresh.locator("#unknown")).to_be_visible()
        for view in views:
            for each in (page, fresh):
                each.evaluate("view => { location.hash = view; }", view)
                assert violations(each) == [], view
        page.evaluate("location.hash = 'scenes'")
        for name in ("New", "Save"):
            expect(page.locator("#view-scenes").get_by_role("button", name=name, exact=True)).to_be_disabled()
        found.engine.start()
        expect(page.locator("#view-scenes").get_by_role("button", name="New", exact=True)).to_be_enabled()
        expect(fresh.locator("#unknown")).to_be_hidden()
        for each in (page, fresh):
            each.close()


@pytest.mark.parametrize("size", [PHONE, TABLET, SCREEN, (320, 256)], ids=["phone", "tablet", "screen", "400%"])
@pytest.mark.parametrize("letters", [100, 200])
def test_nothing_runs_out_of_the_side(look_pit: PanelInBrowser, size: tuple[int, int], letters: int) -> None:
    """No view scrolls sideways, even with text at twice its size (WCAG 2.2, 1.4.4 and 1.4.10)."""
    page = look_pit.page(size)
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 16 * letters // 100}})
    page.reload()
    expect(page.locator("#scene-number")).to_have_text("11")
    for view in VIEWS:
        _turn(page, view)
        for scrolls in ("html", "main"):
            assert page.locator(scrolls).evaluate("each => each.scrollWidth - each.clientWidth") == 0, view


@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_a_finger_hits_what_it_aims_at(look_pit: PanelInBrowser, size: tuple[int, int]) -> None:
    """On every view all that can be pressed is 44 pixels high, but for links within a sentence (WCAG 2.2, 2.5.5); the
    main actions of a phone and the way to all views take at most 120 pixels."""
    page = look_pit.page(size)
    for view in VIEWS:
        _turn(page, view)
        assert page.evaluate(SMALL) == [], view
    if size == PHONE:
        heights = [page.locator(each).evaluate("each => each.offsetHeight") for each in (".dock", "nav")]
        assert sum(heights) <= 120, heights


def test_a_large_table_shows_eleven_rows(look_pit: PanelInBrowser) -> None:
    """Of 32 inputs and 40 outputs, a laptop of 1366 x 768 pixels shows eleven whole rows of at least 44 pixels, below
    one toolbar of at most 48, and whatever is said in the dock."""
    page = look_pit.page((1366, 768))
    page.evaluate(LARGE)
    _turn(page, "patch")
    rows = page.locator(".table tbody tr")
    expect(rows).to_have_count(32)
    expect(page.locator(".table thead th")).to_have_count(40)
    eleventh, dock = rows.nth(10).bounding_box(), page.locator(".dock").bounding_box()
    assert eleventh is not None
    assert dock is not None
    page.evaluate(
        """async () => (await import("/page/main.js")).modules["commands.js"]
        .tell("It was done, long as this is. ".repeat(9), "done")"""
    )
    assert page.locator(".dock").bounding_box() == dock
    assert eleventh["height"] >= 44
    assert page.locator("#view-patch .bar").evaluate("each => each.offsetHeight") <= 48
    assert eleventh["y"] + eleventh["height"] <= dock["y"]


def test_names_are_text_and_nothing_else(jack_server: str, chromium: Browser, tmp_path: Path) -> None:
    """A rig whose every name is markup shows the markup as text on every view; it creates no element."""
    rig = RIG
    for name in ("Pit with a page", "string-machine", "Warm pad", "pads to brass", "Overture", "Friday"):
        rig = rig.replace(f"[instruments.{name}]", f'[instruments."{name}"]').replace(name, f"{HOSTILE} {name}")
    for name in ("keys", "strings"):
        rig = rig.replace(f"\n{name} =", f'\n"{HOSTILE} {name}" =').replace(f'"{name}"', f'"{HOSTILE} {name}"')
    with pit(tmp_path, chromium, rig) as found:
        page = found.page()
        alerts: list[str] = []

        def refuse(dialog: Dialog) -> None:
            alerts.append(dialog.message)
            dialog.dismiss()

        page.on("dialog", refuse)
        for view in VIEWS:
            _turn(page, view)
            if view in ("show", "patch", "flow"):
                expect(page.locator(f"#view-{view}")).to_contain_text(HOSTILE)
        _turn(page, "patch")
        page.get_by_role("button", name=f"{HOSTILE} keys: what it plays").click()
        page.get_by_role("button", name="Edit sounds").click()
        assert page.locator("img, [onerror]").count() == 0
        assert (alerts, found.said) == ([], [])
        page.close()


def test_it_weighs_little_and_asks_nobody_else(look_pit: PanelInBrowser) -> None:
    """Under 150 kB for everything, the rig included, and not one request to another host."""
    page = look_pit.page()
    page.close()
    hosts: set[str] = set()
    weights: list[float] = []
    fresh = look_pit.blank()
    line = fresh.context.new_cdp_session(fresh)
    line.send("Network.enable")
    line.on("Network.loadingFinished", lambda told: weights.append(told["encodedDataLength"]))
    line.on("Network.requestWillBeSent", lambda told: hosts.add(told["request"]["url"].split("/")[2]))
    fresh.goto(look_pit.panel.address)
    fresh.locator("#scenes > li").first.wait_for()

    def has_all() -> bool:
        fresh.wait_for_timeout(20)  # the icon comes when the browser likes
        return len(weights) >= 5

    until("the page, its style and script, theme and icon", has_all)
    assert hosts == {look_pit.panel.address.split("/")[2]}
    assert len(weights) <= 10
    assert sum(weights) < MOST
