"""Edits on the page that follow each other quickly, or come from two browsers: all are carried out, none is lost."""

from playwright.sync_api import Page, expect

from tests.support.panel_in_browser import PanelInBrowser


def _press_at_once(page: Page, *selectors: str) -> None:
    """Press these in one turn of the page, before any answer can come."""
    page.evaluate("all => { for (const each of all) document.querySelector(each).click(); }", list(selectors))


def test_edits_in_quick_succession_are_all_carried_out(two_pit: PanelInBrowser) -> None:
    """Two entries of one set list taken out at once, and a line moved by two octaves in one go: the second edit is
    about what the first has left, and neither is refused."""
    page = two_pit.page(view="scenes")
    page.locator("details.list", has_text="Friday").locator("summary").click()
    entries = page.get_by_role("list", name="Friday, in order", exact=False).get_by_role("listitem")
    expect(entries).to_have_count(3)
    _press_at_once(page, "[aria-label='Take out 11 Overture']", "[aria-label='Take out 12 Street at night']")
    expect(entries).to_have_count(1)
    expect(entries).to_contain_text("13 Finale")
    page.get_by_role("button", name="14 Waltz", exact=True).click()
    page.get_by_role("button", name="What else: and").click()
    page.locator(".control").get_by_role("button", name="Transposition").click()
    _press_at_once(page, "[data-key='Octave down']", "[data-key='Octave down']")
    expect(page.locator(".sentence")).to_contain_text("2 octaves down")
    expect(page.locator("#dock-said")).to_have_attribute("data-state", "done")
    assert two_pit.said == []


def test_what_has_become_another_thing_is_left_alone(two_pit: PanelInBrowser) -> None:
    """A cell pressed twice at once is connected by the first press; the second does nothing, and the page says so."""
    page = two_pit.page(view="patch")
    cell = "[aria-label='pads to strings: not connected']"
    page.locator(cell).wait_for()
    _press_at_once(page, cell, cell)
    page.get_by_role("button", name="pads to strings: plays string-machine", exact=True).wait_for()
    expect(page.locator("#dock-said")).to_contain_text("this has changed meanwhile")


def test_a_line_keeps_its_form_while_others_come_and_go(two_pit: PanelInBrowser) -> None:
    """Half a range is typed for the second line of a scene; another browser removes the first one: the text stays where
    it was, with its focus, and goes to the line that it was typed for."""
    page, other = two_pit.page(view="scenes"), two_pit.page(view="scenes")
    for each in (page, other):
        each.get_by_role("button", name="14 Waltz", exact=True).click()
    page.get_by_role("button", name="Add a play line").click()
    page.locator(".control").get_by_role("button", name="string-machine", exact=True).wait_for()
    page.locator(".line").nth(1).get_by_role("button", name="What else: and").click()
    page.locator(".control").get_by_role("button", name="Transposition").click()
    page.locator(".control").get_by_role("button", name="Octave up").click()
    expect(other.locator(".sentence").nth(1)).to_contain_text("an octave up")
    page.locator(".line").nth(1).get_by_role("button", name="What else: and").click()
    page.locator(".control").get_by_role("button", name="Range of notes").click()
    low = page.locator(".control").get_by_label("Lowest note")
    low.click()
    page.keyboard.type("C")
    other.get_by_role("button", name="Remove: keys plays", exact=False).first.click()
    expect(page.locator(".sentence")).to_have_count(1)
    expect(low).to_be_focused()
    expect(low).to_have_value("C")
    page.keyboard.type("4")
    page.keyboard.press("Enter")
    expect(other.locator(".sentence")).to_contain_text("from C4 up, an octave up")
    assert two_pit.said == []


def test_a_form_is_applied_though_others_have_edited(two_pit: PanelInBrowser) -> None:
    """While a route's filters are being set, somebody edits another scene and the sounds of this one: Apply still does
    what was typed. If the routes of the scene have changed, it is refused, and says so."""
    two_pit.engine.request("scene", scene=12)
    page = two_pit.page(view="patch")
    page.get_by_role("button", name="keys: what it plays").click()
    page.get_by_role("button", name="Edit filters of route 1").click()
    semitones = page.get_by_label("Semitones", exact=False)
    semitones.fill("7")
    step = {"instrument": "string-machine", "sound": "Tremolo"}
    for edit in (
        {"what": "facts", "scene": 14, "facts": {"text": "slower"}},
        {"what": "burst", "scene": 12, "burst": [step]},
    ):
        answer = two_pit.engine.request("edit", **edit)
        assert answer is not None
        assert answer["done"], answer
    page.get_by_text("string-machine: Tremolo").wait_for()
    expect(semitones).to_have_value("7")
    page.get_by_role("button", name="Apply filters").click()
    expect(page.locator(".detail")).to_contain_text("7 semitones up")
    page.get_by_role("button", name="Edit filters of route 1").click()
    semitones.fill("5")
    two_pit.engine.request("edit", what="join", scene=12, **{"from": "keys", "to": "strings"})
    page.get_by_role("button", name="keys to strings: connected", exact=True).wait_for()
    page.get_by_role("button", name="Apply filters").click()
    expect(page.locator(".chain").get_by_role("alert")).to_contain_text("the rig has changed since you looked at it")
    expect(semitones).to_have_value("5")
