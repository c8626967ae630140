"""What the page shows, and what a player does there without editing: a browser, the panel, an engine on JACK ports."""

from functools import partial

from playwright.sync_api import Page, WebSocket, expect

from tests.support.panel_in_browser import LONGEST, PHONE, VIEWS, PanelInBrowser, in_force
from tests.support.waiting import until

MIDDLE_C = 60


def test_next_back_and_jump_recall_and_the_boxes_hear_it(look_pit: PanelInBrowser) -> None:
    """Next, Back and a scene's button recall; the page, the engine and the synth agree."""
    page = look_pit.page(PHONE)
    in_force(page, 11, "Overture")
    page.get_by_role("button", name="Next", exact=True).click()
    in_force(page, 12, "Street at night")
    expect(page.locator("#next-scene")).to_have_text("13 Finale")
    assert look_pit.scene() == 12
    page.get_by_role("button", name="Back", exact=True).click()
    in_force(page, 11, "Overture")
    page.get_by_label("Find by number or name").fill("fin")
    page.locator("#scenes").get_by_role("button", name="Finale").click()
    in_force(page, 13, "Finale")
    assert look_pit.scene() == 13
    expect(page.locator("#setlist")).to_have_text("Friday, 3 of 3")
    assert look_pit.said == []


def _note_frames(seen: list[str | bytes], live: WebSocket) -> None:
    def note(frame: str | bytes) -> None:  # a function of Python's: Playwright marks what it calls
        seen.append(frame)

    live.on("framesent", note)
    live.on("framereceived", note)


def _hide(page: Page, hidden: bool) -> None:
    page.evaluate(
        "hidden => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });"
        " document.dispatchEvent(new Event('visibilitychange')); }",
        hidden,
    )


def test_a_tab_in_the_background_causes_no_traffic(look_pit: PanelInBrowser) -> None:
    """While a tab is hidden, on whatever view, its page neither sends nor gets a frame, whatever is played; shown
    again, it has the scene that was recalled meanwhile. (A headless browser never hides a tab: a script says so.)"""
    frames: dict[str, list[str | bytes]] = {view: [] for view in VIEWS}
    tabs = {view: look_pit.blank() for view in VIEWS}
    for view, page in tabs.items():
        page.on("websocket", partial(_note_frames, frames[view]))
        page.goto(f"{look_pit.panel.address}#{view}")
        expect(page.locator("#scene-number")).to_have_text("11")
        _hide(page, True)
    page.wait_for_timeout(500)  # until what was on its way has arrived
    for seen in frames.values():
        seen.clear()
    look_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    look_pit.players["keys"].play(bytes((0x80, MIDDLE_C, 64)))
    assert look_pit.engine.request("next") is not None
    page.wait_for_timeout(1500)  # what a page does again and again, it does once per second or more often
    assert frames == {view: [] for view in VIEWS}
    for view, page in tabs.items():
        _hide(page, False)
        expect(page.locator("#scene-number")).to_have_text("12")
        assert frames[view]


def test_next_back_and_panic_are_within_a_thumbs_reach(look_pit: PanelInBrowser) -> None:
    """On a phone the three buttons are in the lower third of the screen on every view, however far it is scrolled."""
    page = look_pit.page(PHONE)
    for view in VIEWS:
        page.evaluate("view => { location.hash = view; }", view)
        page.locator(f"#view-{view}").wait_for()
        for place in ("0", "document.body.scrollHeight"):
            page.evaluate(f"() => window.scrollTo(0, {place})")
            for name in ("Next", "Back", "Panic"):
                box = page.locator(".dock").get_by_role("button", name=name).bounding_box()
                assert box is not None
                assert PHONE[1] * 2 / 3 <= box["y"] <= box["y"] + box["height"] <= PHONE[1], (view, name, box)


def test_signs_of_activity_change_slowly(look_pit: PanelInBrowser) -> None:
    """Whatever comes in, a sign changes at most three times in any second of the page's clock (WCAG 2.2, 2.3.1)."""
    page = look_pit.page(view="patch")
    page.locator("[data-way]").first.wait_for()
    page.evaluate(
        "() => { window.changes = new Map(); new MutationObserver(all => { const now = performance.now();"
        " for (const sign of new Set(all.map(({ target }) =>"
        " (target.nodeType === 1 ? target : target.parentElement).closest('[data-way]')))) if (sign)"
        " window.changes.set(sign, [...(window.changes.get(sign) ?? []), now]); }).observe(document.body,"
        " { subtree: true, childList: true, characterData: true, attributes: true }); }"
    )

    def changed() -> bool:
        for turn in range(20):  # a second with a rate that changes all the time
            for _ in range(1 + turn % 7):
                look_pit.players["keys"].play(bytes((0xB0, 1, turn)))
            page.wait_for_timeout(50)
        found: bool = page.evaluate("() => [...window.changes.values()].some(at => at.length >= 8)")
        return found

    until("eight changes of a sign", changed)
    signs: list[list[float]] = page.evaluate("() => [...window.changes.values()]")
    spans = [at[place + 3] - at[place] for at in signs for place in range(len(at) - 3)]
    assert min(spans) > 1000  # ms in which a sign changed four times


def test_the_health_line_is_honest(look_pit: PanelInBrowser) -> None:
    """All is well until a cable is pulled; then the page names what is missing, and all is well when it is back."""
    page = look_pit.page(PHONE)
    health = page.locator("#health")
    expect(health).to_have_text("All is well")
    look_pit.boxes["brass"].pull()
    expect(health).to_contain_text("brass", timeout=LONGEST)
    expect(health).to_contain_text("Needs attention")
    look_pit.boxes["brass"].plug()
    expect(health).to_have_text("All is well", timeout=LONGEST)


def test_the_monitor_tells_in_words_and_explains(look_pit: PanelInBrowser) -> None:
    """What is played appears in words; a click on what went out shows its way through the scene."""
    page = look_pit.page(view="monitor")
    look_pit.engine.request("scene", scene=12)
    played = page.locator(".passing").get_by_role("button")
    note = played.filter(has_text="out brass").filter(has_text="90 30 40")

    def see() -> bool:
        look_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
        look_pit.players["keys"].play(bytes((0x80, MIDDLE_C, 64)))
        page.wait_for_timeout(300)
        return note.count() > 0

    until("the note in the monitor", see)
    page.get_by_role("button", name="Freeze").click()
    note.first.click()
    expect(page.locator(".explained")).to_contain_text("transpose")
    expect(page.locator(".explained")).to_contain_text("90 30 40")
    page.get_by_label("Port", exact=True).select_option("in keys")
    expect(played.filter(has_text="out brass")).to_have_count(0)
    page.get_by_text("Messages to show").click()
    page.get_by_label("notes", exact=True).uncheck()
    expect(played).to_have_count(0)


def test_faults_are_found(look_pit: PanelInBrowser) -> None:
    """A test note sounds and ends; ports show where they are used; outputs are identified; scenes are compared."""
    page = look_pit.page(view="gear")
    page.get_by_role("button", name="Test note: string-machine").click()
    look_pit.heard("strings", (4, MIDDLE_C))
    until("its end", lambda: not look_pit.sounding("strings"))
    expect(page.locator(".things")).to_contain_text("Page piano")
    look_pit.players["pads"].pull()
    expect(page.locator(".things [data-state=missing]")).to_contain_text("missing since")
    page.get_by_role("button", name="Identify devices").click()
    expect(page.locator(".who")).to_contain_text("strings: no answer")
    page.get_by_label("Second scene").select_option("13")
    page.get_by_role("button", name="Compare").click()
    expect(page.get_by_text("name: Overture in 11, Finale in 13")).to_be_visible()


def test_the_handbook_is_read_and_searched(look_pit: PanelInBrowser) -> None:
    """A topic shows its page; a link leads to another; a search lists lines, and a click on one opens it there."""
    page = look_pit.page(PHONE, view="help")
    handbook = page.locator(".handbook")
    page.get_by_role("link", name="Limits").click()
    expect(handbook.get_by_role("heading", name="Limits")).to_be_focused()
    handbook.get_by_role("link", name="safety").click()
    handbook.get_by_role("heading", name="Safety").wait_for()
    page.get_by_role("link", name="All topics").click()
    page.get_by_label("Search the handbook").fill("no such words")
    expect(page.locator(".topics")).to_contain_text("No match.")
    page.get_by_label("Search the handbook").fill("Hold Panic for")
    page.locator(".topics").get_by_role("link", name="The front panel").click()
    expect(handbook.locator("[data-line]:focus")).to_contain_text("Hold Panic for 0.6 s")
    page.reload()
    expect(handbook.locator("[data-line]:focus")).to_contain_text("Hold Panic for 0.6 s")
    assert page.locator("img, [onerror]").count() == 0
    assert look_pit.said == []
