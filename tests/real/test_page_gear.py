"""What the room Gear says of zones, labels and filters plays, and is in the file. Sources: M1-100 for zones."""

import tomllib
from typing import Any

from playwright.sync_api import Locator, Page, expect

from tests.support.page_hands import Hand, Mouse
from tests.support.panel_in_browser import PanelInBrowser, answered
from tests.support.waiting import until

#: what the page knows scene 13 by
FINALE = """async () => (await import("/page/main.js")).modules["connection.js"]
.held.rig.scenes.find(({number}) => number === 13).name"""


def _knows(page: Page, name: str) -> None:
    """Wait until scene 13 has this name for the page."""
    until(f"{name} in the page's rig", lambda: page.evaluate(FINALE) == name)


def _open(page: Page, key: str) -> Locator:
    page.locator(f"#view-gear [data-key='{key}']").click()
    return page.locator("#view-gear .drawer")


def _type(field: Locator, text: str) -> None:
    field.fill(text)
    field.press("Enter")


def _saved(pit: PanelInBrowser, page: Page) -> dict[str, Any]:
    """The rig's file, once the page's last edit was answered."""
    expect(page.locator("#dock-said")).to_have_attribute("data-state", "done")
    pit.engine.request("save")
    return tomllib.loads(pit.engine.file.read_text(encoding="utf-8"))


def test_zones_and_pressures_are_set_in_gear(two_pit: PanelInBrowser) -> None:
    """An input is an MPE controller, whose fingers press keys of an instrument with a channel; an instrument has a
    zone; members that cannot be a zone are refused beside their field."""
    page = two_pit.page(view="gear")
    drawer = _open(page, "inputs keys")
    drawer.get_by_label("An MPE controller").check()
    last = drawer.get_by_label("Last member")
    _type(last, "17")
    expect(drawer.locator(".field", has=page.get_by_label("Last member")).get_by_role("alert")).to_contain_text(
        "from 1 to 16"
    )
    _type(last, "8")
    answered(page, "last member 8")
    _open(page, "instruments string-machine")
    drawer.get_by_label("The pressure of an MPE controller").select_option("that of each key")
    answered(page, "pressure of each key")
    page.get_by_role("link", name="Show").click()
    page.locator("#order").select_option("")
    page.locator("#scenes").get_by_role("button", name="14 Waltz", exact=True).click()
    expect(page.locator("#scene-name")).to_have_text("Waltz")
    two_pit.players["keys"].play(bytes((0x91, 60, 64)))
    two_pit.players["keys"].play(bytes((0xD1, 48)))

    def pressed() -> bool:
        two_pit.boxes["strings"].listen()
        return bytes((0xA4, 60, 48)) in two_pit.boxes["strings"].synth.log

    until("the pressure of the key", pressed)
    page.get_by_role("link", name="Gear").click()
    drawer.get_by_label("It receives on").select_option("an MPE zone: a channel for each note")
    _type(drawer.get_by_label("The manager’s bend reaches"), "12")
    _type(drawer.get_by_label("A member’s bend reaches"), "24")
    expect(page.locator("#view-gear [data-key='instruments string-machine']")).to_contain_text("MPE zone 2–15")
    answered(page, "a member’s bend reaches 24")
    saved = _saved(two_pit, page)
    assert saved["inputs"]["keys"]["mpe"] == {"members": [2, 8]}
    assert saved["instruments"]["string-machine"]["mpe"] == {"members": [2, 15], "bend": 24, "manager_bend": 12}
    assert not {"channel", "pressure"} & saved["instruments"]["string-machine"].keys()
    assert two_pit.said == []


def test_printed_labels_name_sounds(two_pit: PanelInBrowser) -> None:
    """Gear that prints A11 to B88 has a sound by its label, which is shown beside it; a label that it has not is
    refused in words."""
    page = two_pit.page(view="gear")
    drawer = _open(page, "instruments string-machine")
    drawer.get_by_text("Banks, numbering, set-up").click()
    _type(drawer.get_by_label("It prints its programs as"), "A11..B88")
    drawer.get_by_label("As printed").fill("C99")
    drawer.get_by_label("Name", exact=True).last.fill("Choir")
    drawer.get_by_role("button", name="Add the sound").click()
    answered(page, "C99")
    drawer.get_by_label("As printed").fill("A22")
    drawer.get_by_role("button", name="Add the sound").click()
    expect(drawer.locator(".sounds li", has_text="Choir")).to_contain_text("A22, program 10")
    assert _saved(two_pit, page)["instruments"]["string-machine"]["sounds"]["Choir"] == {"printed": "A22"}
    assert two_pit.said == []


def test_gear_says_which_spare_channel_an_instrument_is_on(two_pit: PanelInBrowser) -> None:
    """A note is held while a scene changes its instrument's sound: the new one takes a spare channel, and Gear says so
    until the instrument is on its own channel again."""
    page = two_pit.page(view="gear")
    line = 'play = [ {{ from = "keys", on = "string-machine", sound = "{}" }} ]'
    text = two_pit.engine.file.read_text(encoding="utf-8")
    for old, new in (
        ("channel = 5\n", "channel = 5\nspare = [11, 12]\n"),
        ('play = [ { from = "keys", on = "string-machine" } ]', line.format("Warm pad")),
        ("like = 14", line.format("Tremolo")),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    two_pit.engine.file.write_text(text, encoding="utf-8")
    shown = page.locator("#view-gear [data-key='instruments string-machine']")
    expect(shown).to_contain_text("channel 5 (spare: 11, 12)")
    two_pit.engine.request("scene", scene=14)
    two_pit.players["keys"].play(bytes((0x90, 60, 64)))
    two_pit.heard("strings", (4, 60))
    two_pit.engine.request("scene", scene=15)
    expect(shown).to_contain_text("on spare channel 11 (its own is 5)")
    two_pit.players["keys"].play(bytes((0x90, 64, 64)))
    two_pit.heard("strings", (10, 64))
    two_pit.engine.request("panic")  # what has only been released counts as sounding for half a second
    two_pit.engine.request("scene", scene=14)
    expect(shown).to_contain_text("channel 5 (spare: 11, 12)")
    assert two_pit.said == []


def test_filters_of_an_input_and_an_instrument(two_pit: PanelInBrowser) -> None:
    """Each has its filters by their forms, whatever else of the rig is edited meanwhile, and both act on what is
    played."""
    two_pit.engine.request("scene", scene=14)
    page = two_pit.page(view="gear")
    for key, semitones, words in (
        ("inputs keys", "12", "an octave up"),
        ("instruments string-machine", "5", "5 semitones up"),
    ):
        drawer = _open(page, key)
        drawer.get_by_role("button", name="Edit filters").click()
        drawer.get_by_label("Another filter").select_option("transpose")
        drawer.get_by_role("button", name="Add the filter").click()
        drawer.get_by_label("Semitones", exact=False).fill(semitones)
        renamed = two_pit.engine.request("scenes", what="rename", number=13, name=f"Meanwhile {semitones}")
        assert renamed is not None
        assert renamed["done"], renamed
        _knows(page, f"Meanwhile {semitones}")
        drawer.get_by_role("button", name="Apply filters").click()
        expect(drawer.locator(".filters")).to_have_text(words)
    two_pit.players["keys"].play(bytes((0x90, 60, 64)))
    two_pit.heard("strings", (4, 77))
    assert two_pit.said == []


def test_a_press_lasts_while_the_page_is_drawn_anew(two_pit: PanelInBrowser) -> None:
    """A button among the forms of filters acts although the page changes around it while it is held down: among an
    input's filters, and among a play line's."""
    two_pit.engine.request("scene", scene=14)
    page = two_pit.page(view="gear")
    drawer = _open(page, "inputs keys")
    drawer.get_by_role("button", name="Edit filters").click()
    _press_over_a_change(two_pit, drawer.get_by_role("button", name="Add the filter"), "Slower")
    expect(drawer.get_by_role("group", name="1. ")).to_be_visible()
    page.get_by_role("link", name="Scenes").click()
    filters = Hand(Mouse(page)).hole(0, "through")
    _press_over_a_change(two_pit, filters.get_by_role("button", name="Add the filter"), "Slower still")
    expect(filters.get_by_role("group", name="1. ")).to_be_visible()
    assert two_pit.said == []


def _press_over_a_change(pit: PanelInBrowser, button: Locator, name: str) -> None:
    """Hold it down, rename a scene, and let go once the page knows the new name."""
    button.hover()
    button.page.mouse.down()
    pit.engine.request("scenes", what="rename", number=13, name=name)
    _knows(button.page, name)
    button.page.mouse.up()
