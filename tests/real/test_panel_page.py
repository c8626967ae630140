"""The page does what it says: a real browser, the panel's process, an engine on JACK ports, boxes that receive."""

import os
import signal
import tomllib

from playwright.sync_api import Page, expect

from tests.support.panel_in_browser import LONGEST, PHONE, PanelInBrowser, in_force
from tests.support.waiting import until

MIDDLE_C = 60


def test_texts_are_shown_line_by_line(page_pit: PanelInBrowser) -> None:
    """The text of the scene in force has its line breaks; the song stays in force behind a scene of no song."""
    page = page_pit.page(PHONE)
    expect(page.locator("#scene-text")).to_be_hidden()
    expect(page.locator("#song")).to_be_hidden()
    page.get_by_role("button", name="Next", exact=True).click()
    in_force(page, 12, "Street at night")
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
    in_force(page, 11, "Overture")
    page.get_by_label("This browser shows").select_option("anna")
    in_force(page, 21, "Fanfare")
    expect(page.locator("#setlist")).to_have_text("Anna, act 1, 1 of 2")
    page.get_by_role("button", name="Next", exact=True).click()
    in_force(page, 22, "Lament")
    assert players_pit.scene() == 11
    page.reload()
    in_force(page, 22, "Lament")
    page.locator("#scenes").get_by_role("button", name="Fanfare").click()
    in_force(page, 21, "Fanfare")
    page.get_by_label("This browser shows").select_option("the rest of the rig")
    in_force(page, 11, "Overture")
    assert players_pit.said == []


def test_a_recall_is_shown_only_when_the_engine_says_so(page_pit: PanelInBrowser) -> None:
    """While the engine is stopped, a click on Next changes nothing and shows only that the scene was asked for."""
    page = page_pit.page()
    process = page_pit.engine.process.pid
    os.kill(process, signal.SIGSTOP)
    try:
        page.get_by_role("button", name="Next", exact=True).click()
        expect(page.locator("#dock-said")).to_contain_text("Requested: next")
        in_force(page, 11, "Overture")
    finally:
        os.kill(process, signal.SIGCONT)
    in_force(page, 12, "Street at night")


def test_a_route_made_saved_undone_and_redone(page_pit: PanelInBrowser) -> None:
    """A click in the table plays at once, unsaved; Save writes the rig file; Undo takes it back, Redo repeats it."""
    page = page_pit.page(view="patch")
    page.get_by_role("button", name="keys to brass: not connected", exact=True).click()
    expect(page.locator("#view-patch .state")).to_have_text("unsaved")
    page.get_by_role("button", name="keys to brass: connected", exact=True).wait_for()
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("brass", (0, MIDDLE_C))
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".save-said")).to_contain_text("read back: it holds the current rig")
    expect(page.locator("#view-patch .state")).to_have_text("saved")
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


def test_one_output_is_split_off_and_disconnected(page_pit: PanelInBrowser) -> None:
    """A press on a cell with filters opens its input and parts nothing; one output gets filters of its own; Disconnect
    takes a connection away, filters and all, and so does Delete on its cell; Undo brings it back."""
    through = [{"filter": "transpose", "semitones": 12}]
    both = {"from": "keys", "to": ["strings", "brass"], "through": through}
    page_pit.engine.request("edit", what="values", values=[{"path": ["scenes", 0, "routes"], "value": [both]}])
    page = page_pit.page(view="patch")
    drawer = page.locator("#view-patch .detail")
    filtered = page.get_by_role("button", name="keys to strings: connected through filters", exact=True)
    filtered.click()
    drawer.get_by_role("button", name="Only this output: strings").click()
    drawer.get_by_label("Semitones", exact=False).fill("-12")
    drawer.get_by_role("button", name="Apply filters").click()
    expect(drawer.locator(".route")).to_have_count(2)
    expect(page.locator("#dock-said")).to_contain_text("keys to strings goes through transpose")
    page_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    page_pit.heard("strings", (0, MIDDLE_C - 12))
    page_pit.heard("brass", (0, MIDDLE_C + 12))
    drawer.get_by_role("button", name="Disconnect keys from strings").click()
    page.get_by_role("button", name="keys to strings: not connected", exact=True).wait_for()
    page.get_by_role("button", name="Undo").click()
    filtered.press("Delete")
    page.get_by_role("button", name="keys to strings: not connected", exact=True).wait_for()
    page.get_by_role("button", name="keys to brass: connected through filters", exact=True).wait_for()
    assert page_pit.said == []


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
    expect(old).to_contain_text("Start it again with bayleaf run")
    for name in ("Back", "Next", "Panic"):
        expect(page.locator(".dock").get_by_role("button", name=name)).to_be_disabled()
    page_pit.engine.start()
    expect(old).to_be_hidden(timeout=LONGEST)
    expect(health).to_have_text("All is well")
    expect(health).to_be_visible()
    page.get_by_role("button", name="Next", exact=True).click()
    in_force(page, 12, "Street at night")
    page_pit.panel.kill()
    expect(old).to_contain_text("The panel does not answer")
    page_pit.panel.start()
    expect(old).to_be_hidden(timeout=LONGEST)
    page.get_by_role("button", name="Next", exact=True).click()
    in_force(page, 13, "Finale")
    page_pit.engine.kill()
    expect(old).to_contain_text("The engine")
    page_pit.panel.kill()
    page_pit.engine.start()
    page_pit.panel.start()
    expect(old).to_be_hidden(timeout=LONGEST)


def test_everything_goes_by_keyboard_alone(page_pit: PanelInBrowser) -> None:
    """Scenes by their keys and numbers, a route by the arrow keys and Enter, panic by Enter twice; no pointer."""
    page = page_pit.page()
    press = page.keyboard.press
    press("n")
    in_force(page, 12, "Street at night")
    press("b")
    in_force(page, 11, "Overture")
    for key in ("1", "3", "Enter"):
        press(key)
    in_force(page, 13, "Finale")
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
    """In a rig of format 2 an empty cell makes a play line; a press on it opens its sentence and parts nothing; each
    hole has its control, a fault is beside its field, and all of it sounds at once; Undo brings a line back."""
    page = two_pit.page(view="patch")
    page.get_by_role("button", name="keys to strings: not connected", exact=True).click()
    page.get_by_role("button", name="keys to strings: plays string-machine", exact=True).click()
    control = page.locator(".control")
    page.get_by_role("button", name="Sound: the sound it is on").click()
    control.get_by_role("button", name="Tremolo", exact=True).click()
    page.get_by_role("button", name="Sound: Tremolo").wait_for()
    page.get_by_role("button", name="What else: and").click()
    control.get_by_role("button", name="Range of notes").click()
    control.get_by_label("Highest note").fill("X9")
    control.get_by_label("Highest note").press("Enter")
    expect(control.locator(".field", has=page.get_by_label("Highest note")).get_by_role("alert")).to_contain_text("X9")
    expect(control.get_by_label("Highest note")).to_have_attribute("aria-invalid", "true")
    control.get_by_label("Highest note").fill("B4")
    control.get_by_label("Highest note").press("Enter")
    page.get_by_role("button", name="Range of notes: up to B4").wait_for()
    page.get_by_role("button", name="What else: and").click()
    control.get_by_role("button", name="Transposition").click()
    control.get_by_role("button", name="Octave down").click()
    line = "keys plays Tremolo on string-machine, up to B4, an octave down"
    page.get_by_role("button", name=f"Remove: {line}").wait_for()
    two_pit.players["keys"].play(bytes((0x90, MIDDLE_C, 64)))
    two_pit.heard("strings", (4, MIDDLE_C - 12))
    page.get_by_role("button", name=f"Remove: {line}").click()
    page.get_by_role("button", name=f"Undo: 11: {line} removed").click()
    page.get_by_role("button", name=f"Remove: {line}").wait_for()
    page.get_by_role("link", name="Show").click()
    expect(page.locator("#players")).to_contain_text(line)
    expect(page.locator("#lights")).to_contain_text("strings")
    assert two_pit.said == []


def test_an_inherited_line_is_edited_in_a_scene_of_its_own(two_pit: PanelInBrowser) -> None:
    """A scene that is like another shows its lines as inherited; an edit gives it a line of its own, and says so. Cue
    and text are edited beside it, and Show displays them."""
    page = two_pit.page(view="scenes")
    drawer = page.locator("#view-scenes .drawer")
    page.get_by_role("button", name="15 Waltz again", exact=True).click()
    expect(drawer).to_contain_text("inherited from 14 Waltz; an edit gives this scene a line of its own")
    page.get_by_role("button", name="What else: and").click()
    page.locator(".control").get_by_role("button", name="Transposition").click()
    page.locator(".control").get_by_role("button", name="Octave up").click()
    expect(drawer.locator(".sentence")).to_contain_text("an octave up")
    expect(drawer).not_to_contain_text("inherited")
    page.get_by_role("button", name="14 Waltz", exact=True).click()
    expect(drawer.locator(".sentence")).not_to_contain_text("octave")
    drawer.get_by_label("Text for the player").fill("watch the drummer\nbar 40")
    drawer.get_by_label("Cue", exact=True).fill("14.5")
    drawer.get_by_label("Cue", exact=True).press("Enter")
    expect(page.locator("#view-scenes .bar")).to_contain_text("Undo: 14: cue 14.5")
    page.get_by_role("link", name="Show").click()
    page.locator("#order").select_option("")
    page.locator("#scenes").get_by_role("button", name="14 Waltz").click()
    expect(page.locator("#scene-text")).to_have_text("watch the drummer\nbar 40")
    expect(page.locator("#scene-facts")).to_have_text("cue 14.5")
    assert two_pit.said == []


def test_scenes_are_made_moved_and_deleted(two_pit: PanelInBrowser) -> None:
    """New, copy, like, move by keyboard, delete, undo; a set list is made and filled."""
    page = two_pit.page(view="scenes")
    scenes = page.locator("#view-scenes ol[aria-label^=Scenes]")
    page.get_by_role("button", name="14 Waltz", exact=True).click()
    page.get_by_role("button", name="Like this one").click()
    expect(scenes.locator("[aria-current]")).to_contain_text("16")
    page.get_by_role("button", name="Copy", exact=True).click()
    expect(scenes.locator("[aria-current]")).to_contain_text("17")
    page.get_by_role("button", name="New", exact=True).click()
    expect(scenes.locator("[aria-current]")).to_contain_text("Scene 18")
    scenes.get_by_role("button", name="18 Scene 18").press("Alt+ArrowUp")
    expect(scenes.locator("li").nth(-2)).to_contain_text("Scene 18")
    page.get_by_role("button", name="Delete", exact=True).click()
    expect(scenes).not_to_contain_text("Scene 18")
    page.get_by_role("button", name="Undo: scene 18 deleted").click()
    expect(scenes).to_contain_text("Scene 18")
    page.get_by_role("button", name="16", exact=False).first.click()
    page.get_by_role("button", name="New set list").click()
    made = page.locator("details.list", has_text="Set list 2")
    made.locator("summary").click()
    page.get_by_role("button", name="17", exact=False).first.click()
    made.get_by_role("button", name="Add 17").click()
    expect(made.locator("summary")).to_contain_text("2 entries")
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
