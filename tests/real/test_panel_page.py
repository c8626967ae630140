"""The page does what it says: a real browser, the panel's process, an engine on JACK ports, boxes that receive."""

import os
import signal
import tomllib

from playwright.sync_api import Page, WebSocket, expect

from tests.support.panel_in_browser import LONGEST, PHONE, VIEWS, PanelInBrowser
from tests.support.waiting import until

MIDDLE_C = 60


def _in_force(page: Page, number: int, name: str) -> None:
    expect(page.locator("#scene-number")).to_have_text(str(number))
    expect(page.locator("#scene-name")).to_have_text(name)


def test_next_back_and_jump_recall_and_the_boxes_hear_it(look_pit: PanelInBrowser) -> None:
    """Next, Back and a scene's button recall; the page, the engine and the synth agree."""
    page = look_pit.page(PHONE)
    _in_force(page, 11, "Overture")
    page.get_by_role("button", name="Next", exact=True).click()
    _in_force(page, 12, "Street at night")
    expect(page.locator("#next-scene")).to_have_text("13 Finale")
    assert look_pit.scene() == 12
    page.get_by_role("button", name="Back", exact=True).click()
    _in_force(page, 11, "Overture")
    page.get_by_label("Find by number or name").fill("fin")
    page.locator("#scenes").get_by_role("button", name="Finale").click()
    _in_force(page, 13, "Finale")
    assert look_pit.scene() == 13
    expect(page.locator("#setlist")).to_have_text("Friday, 3 of 3")
    assert look_pit.said == []


def test_texts_are_shown_line_by_line(page_pit: PanelInBrowser) -> None:
    """The text of the scene in force has its line breaks; the song stays in force behind a scene of no song."""
    page = page_pit.page(PHONE)
    expect(page.locator("#scene-text")).to_be_hidden()
    expect(page.locator("#song")).to_be_hidden()
    page.get_by_role("button", name="Next", exact=True).click()
    _in_force(page, 12, "Street at night")
    assert page.locator("#scene-text").inner_text() == "watch the drummer\nbar 40"
    expect(page.locator("#song-text")).to_have_text("capo on")
    expect(page.locator("#song")).to_have_text("Market, transposed by +2")
    page.get_by_role("button", name="Next song").click()
    expect(page.locator("#dock-said")).to_contain_text("already in the last song")
    page.get_by_role("button", name="Back", exact=True).click()
    expect(page.locator("#scene-text")).to_be_hidden()
    expect(page.locator("#song-text")).to_have_text("capo on")
    assert page_pit.said == []


def test_a_browser_shows_the_player_that_it_has_chosen(players_pit: PanelInBrowser) -> None:
    """It shows that player's scene, recalls for that player alone, and knows them again after a reload."""
    page = players_pit.page(PHONE)
    _in_force(page, 11, "Overture")
    page.get_by_label("This browser shows").select_option("anna")
    _in_force(page, 21, "Fanfare")
    expect(page.locator("#setlist")).to_have_text("Anna, act 1, 1 of 2")
    page.get_by_role("button", name="Next", exact=True).click()
    _in_force(page, 22, "Lament")
    assert players_pit.scene() == 11
    page.reload()
    _in_force(page, 22, "Lament")
    page.locator("#scenes").get_by_role("button", name="Fanfare").click()
    _in_force(page, 21, "Fanfare")
    page.get_by_label("This browser shows").select_option("the rest of the rig")
    _in_force(page, 11, "Overture")
    assert players_pit.said == []


def test_a_recall_is_shown_only_when_the_engine_says_so(page_pit: PanelInBrowser) -> None:
    """While the engine is stopped, a click on Next changes nothing and shows only that the scene was asked for."""
    page = page_pit.page()
    process = page_pit.engine.process.pid
    os.kill(process, signal.SIGSTOP)
    try:
        page.get_by_role("button", name="Next", exact=True).click()
        expect(page.locator("#dock-said")).to_contain_text("Requested: next")
        _in_force(page, 11, "Overture")
    finally:
        os.kill(process, signal.SIGCONT)
    _in_force(page, 12, "Street at night")


def test_a_route_made_saved_undone_and_redone(page_pit: PanelInBrowser) -> None:
    """A click in the table plays at once, unsaved; Save writes the rig file; Undo takes it back, Redo repeats it."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="keys to brass: not connected", exact=True).click()
    expect(page.get_by_text("Unsaved: the rig file does not have these edits yet.")).to_be_visible()
    page.get_by_role("button", name="keys to brass: connected", exact=True).wait_for()
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("brass", (0, MIDDLE_C))
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".save-said")).to_contain_text("read back: it holds the current rig")
    expect(page.get_by_text("Saved: the rig file holds the current rig.")).to_be_visible()
    saved = tomllib.loads(page_pit.engine.file.read_text(encoding="utf-8"))["scenes"][0]["routes"]
    assert any("brass" in route["to"] for route in saved)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="keys to brass: not connected", exact=True).wait_for()
    page_pit.players["keys"].play(bytes((0x80, MIDDLE_C, 64)))  # it sounds until its key is released
    until("the release", lambda: not page_pit.sounding("brass"))
    page.get_by_role("button", name="Redo").click()
    page.get_by_role("button", name="keys to brass: connected", exact=True).wait_for()
    page.get_by_role("button", name="keys to brass: connected", exact=True).click()
    page.get_by_role("button", name="keys to brass: not connected", exact=True).wait_for()
    assert page_pit.said == []


def test_a_chain_is_edited_with_forms(page_pit: PanelInBrowser) -> None:
    """A filter is added by its form and takes effect; an impossible value is refused, and its field marked."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="keys: what it plays").click()
    page.get_by_role("button", name="Edit filters of route 1").click()
    page.get_by_label("Another filter").select_option("transpose")
    page.get_by_role("button", name="Add the filter").click()
    semitones = page.get_by_label("Semitones", exact=False)
    semitones.fill("many")
    page.get_by_role("button", name="Apply filters").click()
    expect(page.locator(".chain").get_by_role("alert")).to_contain_text("semitones")
    expect(semitones).to_have_attribute("aria-invalid", "true")
    semitones.fill("7")
    page.get_by_role("button", name="Apply filters").click()
    page.get_by_role("button", name="keys to strings: connected through filters", exact=True).wait_for()
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("strings", (0, MIDDLE_C + 7))


def test_what_is_being_typed_stays_with_its_scene(page_pit: PanelInBrowser) -> None:
    """A scene recalled while a chain and a burst are being edited neither discards the edits nor receives them."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="keys: what it plays").click()
    page.get_by_role("button", name="Edit filters of route 1").click()
    page.get_by_label("Another filter").select_option("transpose")
    page.get_by_role("button", name="Add the filter").click()
    page.get_by_label("Semitones", exact=False).fill("7")
    page.get_by_role("button", name="Edit sounds").click()
    page.get_by_label("Sound", exact=True).select_option(label="Tremolo")
    page.get_by_role("button", name="Next", exact=True).click()
    expect(page.locator("#dock-scene")).to_contain_text("12 Street at night")
    expect(page.get_by_label("Scene", exact=True)).to_have_value("11")
    page.get_by_role("button", name="Apply sounds").click()
    page.get_by_text("scene 11: the burst has 1 step").first.wait_for()
    expect(page.get_by_label("Semitones", exact=False)).to_have_value("7")
    assert page_pit.scene() == 12


def test_a_burst_is_edited_by_instrument_and_sound(page_pit: PanelInBrowser) -> None:
    """Another sound is chosen by name and reaches the synth."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="Edit sounds").click()
    page.get_by_label("Sound", exact=True).select_option(label="Tremolo")
    page.get_by_role("button", name="Apply sounds").click()
    expect(page.get_by_text("string-machine: Tremolo")).to_be_visible()
    page.get_by_role("link", name="Show").click()
    page.locator("#scenes").get_by_role("button", name="Overture").click()

    def on_tremolo() -> bool:
        page_pit.boxes["strings"].listen()
        return page_pit.boxes["strings"].synth.sound.get(4, (0, 0, 0))[2] == 44  # program 45 of 1 to 128

    until("the program change", on_tremolo)


def test_panic_takes_a_held_press_and_no_stray_touch(page_pit: PanelInBrowser) -> None:
    """A short press of Panic silences nothing; a held press silences everything."""
    page = page_pit.page(PHONE)
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("strings", (0, MIDDLE_C))
    panic = page.get_by_role("button", name="Panic")
    panic.click()
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C + 4, 64)))
    page_pit.heard("strings", (0, MIDDLE_C + 4))
    assert (0, MIDDLE_C) in page_pit.sounding("strings")
    panic.hover()
    page.mouse.down()
    until("silence", lambda: not page_pit.sounding("strings"))
    page.mouse.up()
    expect(page.locator("#dock-said")).to_have_attribute("data-state", "done")


def test_it_says_what_is_old_and_comes_back_by_itself(page_pit: PanelInBrowser) -> None:
    """When the engine, then the panel, is killed and started again, the page says so, and recovers by itself."""
    page = page_pit.page()
    old = page.locator("#old")
    health = page.locator("#health")
    expect(health).to_have_text("All is well")
    page_pit.engine.kill()
    expect(old).to_contain_text("Display out of date")
    expect(health).to_be_hidden()
    page_pit.engine.start()
    expect(old).to_be_hidden()
    expect(health).to_have_text("All is well")
    expect(health).to_be_visible()
    page.get_by_role("button", name="Next", exact=True).click()
    _in_force(page, 12, "Street at night")
    page_pit.panel.kill()
    expect(old).to_contain_text("The panel does not answer")
    page_pit.panel.start()
    expect(old).to_be_hidden()
    page.get_by_role("button", name="Next", exact=True).click()
    _in_force(page, 13, "Finale")
    page_pit.engine.kill()
    expect(old).to_contain_text("The engine")
    page_pit.panel.kill()
    page_pit.engine.start()
    page_pit.panel.start()
    expect(old).to_be_hidden()


def test_a_tab_in_the_background_causes_no_traffic(look_pit: PanelInBrowser) -> None:
    """While the tab is hidden, on whatever view, the page neither sends nor gets a frame, whatever is played; shown
    again, it has the scene that was recalled meanwhile. (A headless browser never hides a tab: a script says so.)"""
    page = look_pit.blank()
    frames: list[str | bytes] = []

    def note(frame: str | bytes) -> None:
        frames.append(frame)

    def follow(live: WebSocket) -> None:
        live.on("framesent", note)
        live.on("framereceived", note)

    def hide(hidden: bool) -> None:
        page.evaluate(
            "hidden => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });"
            " document.dispatchEvent(new Event('visibilitychange')); }",
            hidden,
        )

    page.on("websocket", follow)
    for view in VIEWS:
        page.goto(f"{look_pit.panel.address}#{view}")
        expect(page.locator("#scene-number")).to_have_text("11")
        hide(True)
        page.wait_for_timeout(500)  # until what was on its way has arrived
        frames.clear()
        look_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
        look_pit.players["keys"].play(bytes((0x80, MIDDLE_C, 64)))
        assert look_pit.engine.request("next") is not None
        page.wait_for_timeout(1500)  # what a page does again and again, it does once per second or more often
        assert (view, frames) == (view, [])
        hide(False)
        expect(page.locator("#scene-number")).to_have_text("12")
        assert frames
        assert look_pit.engine.request("back") is not None


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
        "() => { window.changes = new Map(); new MutationObserver(all => { for (const { target } of all) {"
        " const sign = (target.nodeType === 1 ? target : target.parentElement).closest('[data-way]');"
        " if (sign) { const at = window.changes.get(sign) ?? []; if (at.at(-1) !== performance.now())"
        " at.push(performance.now()); window.changes.set(sign, at); } } }).observe(document.body,"
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

    def see() -> bool:
        look_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
        look_pit.players["keys"].play(bytes((0x80, MIDDLE_C, 64)))
        page.wait_for_timeout(300)
        return played.filter(has_text="out brass").count() > 0

    until("the note in the monitor", see)
    page.get_by_role("button", name="Freeze").click()
    played.filter(has_text="out brass").filter(has_text="90 30 40").first.click()
    expect(page.locator(".explained")).to_contain_text("transpose")
    expect(page.locator(".explained")).to_contain_text("90 30 40")
    page.get_by_label("Port", exact=True).select_option("in keys")
    expect(played.filter(has_text="out brass")).to_have_count(0)
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


def test_everything_goes_by_keyboard_alone(page_pit: PanelInBrowser) -> None:
    """Scenes by their keys and numbers, a route by the arrow keys and Enter, panic by Enter twice; no pointer."""
    page = page_pit.page()
    press = page.keyboard.press
    press("n")
    _in_force(page, 12, "Street at night")
    press("b")
    _in_force(page, 11, "Overture")
    for key in ("1", "3", "Enter"):
        press(key)
    _in_force(page, 13, "Finale")
    press("r")
    page.get_by_role("heading", name="Patch").wait_for()
    cell = page.get_by_role("button", name="keys to strings: not connected", exact=True)
    cell.wait_for()
    _tab_to(page, "keys to strings: not connected")
    press("ArrowRight")
    press("Enter")
    page.get_by_role("button", name="keys to brass: connected", exact=True).wait_for()
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("brass", (0, MIDDLE_C))
    _tab_to(page, "Panic")
    press("Enter")
    press("Enter")
    until("silence", lambda: not page_pit.sounding("brass"))
    assert page_pit.said == []


def _tab_to(page: Page, name: str) -> None:
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.ariaLabel ?? document.activeElement.textContent") == name:
            return
    raise AssertionError(f"Tab does not reach {name}")


def test_a_play_line_is_made_edited_and_removed(two_pit: PanelInBrowser) -> None:
    """In a rig of format 2 an empty cell makes a play line; a press on it opens a form and parts nothing; a fault is
    beside its field; the line sounds as it says; Remove takes it away and Undo brings it back."""
    page = two_pit.page(view="patch")
    page.get_by_role("button", name="keys to strings: not connected", exact=True).click()
    page.get_by_role("button", name="keys to strings: plays string-machine", exact=True).click()
    form = page.locator(".settings")
    form.get_by_label("Sound", exact=True).select_option("Tremolo")
    form.get_by_label("Highest note").fill("X9")
    form.get_by_label("Transposition").fill("-12")
    form.get_by_label("Name", exact=True).fill("low")
    form.get_by_role("button", name="Apply").click()
    expect(form.locator(".key", has=page.get_by_label("Highest note")).get_by_role("alert")).to_contain_text("X9")
    expect(form.get_by_label("Highest note")).to_have_attribute("aria-invalid", "true")
    form.get_by_label("Highest note").fill("B4")
    form.get_by_role("button", name="Apply").click()
    line = "keys plays Tremolo on string-machine (output strings), notes ..B4, transposed -12"
    expect(page.locator(".lines")).to_contain_text(f"low: {line}")
    two_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    two_pit.heard("strings", (4, MIDDLE_C - 12))
    page.get_by_role("button", name=f"Remove: low: {line}").click()
    expect(page.locator(".lines")).not_to_contain_text("Tremolo")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".lines")).to_contain_text(f"low: {line}")
    assert two_pit.said == []


def test_an_inherited_line_is_edited_in_a_scene_of_its_own(two_pit: PanelInBrowser) -> None:
    """A scene that is like another shows its lines as inherited; an edit gives it a line of its own, and says so."""
    page = two_pit.page(view="patch")
    page.get_by_label("Scene", exact=True).select_option("15")
    expect(page.locator(".lines")).to_contain_text("(inherited from 14 Waltz)")
    page.get_by_role("button", name="Edit: keys plays string-machine").click()
    expect(page.locator(".settings")).to_contain_text("scene 14 stays as it is")
    page.get_by_label("Transposition").fill("12")
    page.locator(".settings").get_by_role("button", name="Apply").click()
    expect(page.locator(".lines")).to_contain_text("transposed +12")
    expect(page.locator(".lines")).not_to_contain_text("inherited")
    page.get_by_label("Scene", exact=True).select_option("14")
    expect(page.locator(".lines")).not_to_contain_text("transposed")
    page.get_by_role("button", name="Edit cue, text, tempo").click()
    page.get_by_label("Text for the player").fill("watch the drummer\nbar 40")
    page.get_by_label("Cue", exact=True).fill("14.5")
    page.locator(".settings").get_by_role("button", name="Apply").click()
    expect(page.get_by_text("cue 14.5")).not_to_have_count(0)
    page.get_by_role("link", name="Show").click()
    page.locator("#order").select_option("")
    page.locator("#scenes").get_by_role("button", name="14 Waltz").click()
    expect(page.locator("#scene-text")).to_have_text("watch the drummer\nbar 40")
    expect(page.locator("#scene-facts")).to_have_text("cue 14.5")
    assert two_pit.said == []


def test_the_focus_stays_where_it_is(page_pit: PanelInBrowser) -> None:
    """Enter on a cell leaves the focus on it, whatever is drawn again; so do a scene change and an edit elsewhere."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="keys to brass: not connected", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="keys to brass: connected", exact=True)).to_be_focused()
    page_pit.engine.request("scene", scene=12)
    expect(page.get_by_role("button", name="keys to brass: connected through filters", exact=True)).to_be_focused()
    page.get_by_label("Find an input or output").focus()
    page.keyboard.type("r")
    page_pit.engine.request("edit", what="join", scene=12, **{"from": "keys", "to": "strings"})
    page.get_by_role("button", name="keys to strings: connected", exact=True).wait_for()
    expect(page.get_by_label("Find an input or output")).to_be_focused()
    expect(page.get_by_label("Find an input or output")).to_have_value("r")
