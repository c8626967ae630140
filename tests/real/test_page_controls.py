"""Switches, lights and displays are made, edited, tried and removed in the page; what the gear receives says so."""

import tomllib

from playwright.sync_api import Page, expect

from tests.support.jack_ends import Box
from tests.support.panel_in_browser import PHONE, PanelInBrowser, in_force
from tests.support.waiting import until

TEST, OVERTURE, MARCH = (f"F0 7D 01 {text.encode().hex(' ').upper()} F7" for text in ("TEST  ", "Overtu", "March "))


def _sent(box: Box, message: str) -> None:
    """Wait until the box has received this, after what was waited for before."""
    wanted, log = bytes.fromhex(message), box.synth.log

    def came() -> bool:
        box.listen()
        return wanted in log

    until(f"{message}", came)
    del log[: log.index(wanted) + 1]


def _row(page: Page, words: str) -> None:
    page.locator("#view-gear .thing", has_text=words).click()


def test_a_light_is_made_tried_edited_and_removed(two_pit: PanelInBrowser) -> None:
    """It is on in its scene, for a second when it is tried, and elsewhere after an edit; what is wrong is beside its
    field."""
    page, brass = two_pit.page(view="gear"), two_pit.boxes["brass"]
    drawer = page.locator("#view-gear .drawer")
    page.get_by_role("button", name="Add a light").click()
    drawer.get_by_label("Output").select_option("brass")
    drawer.get_by_label("The light is set by").select_option("a controller")
    number = drawer.get_by_label("Number of its controller")
    number.fill("200")
    number.press("Enter")
    expect(
        drawer.locator(".field", has=page.get_by_label("Number of its controller")).get_by_role("alert")
    ).to_contain_text("0 to 127")
    number.fill("20")
    number.press("Enter")
    drawer.get_by_role("button", name="channel 3").click()
    drawer.get_by_role("button", name="Add the light").click()
    _sent(brass, "B2 14 7F")
    expect(page.locator("#view-gear")).to_contain_text("Light at brass: scene 11 Overture")
    drawer.get_by_label("On while").select_option("scene 12 Street at night")
    _sent(brass, "B2 14 00")
    drawer.get_by_role("button", name="Test").click()
    _sent(brass, "B2 14 7F")
    _sent(brass, "B2 14 00")
    page.get_by_role("button", name="Next", exact=True).click()
    _sent(brass, "B2 14 7F")
    drawer.get_by_role("button", name="Remove").click()
    _sent(brass, "B2 14 00")
    expect(page.locator("#view-gear")).not_to_contain_text("Light at brass")
    assert two_pit.said == []


def test_a_display_is_made_and_tried(two_pit: PanelInBrowser) -> None:
    """It shows the scene, TEST for a second, and then the scene again; a text that is no SysEx is refused in words."""
    page, brass = two_pit.page(PHONE, view="gear"), two_pit.boxes["brass"]
    drawer = page.locator("#view-gear .drawer")
    page.get_by_role("button", name="Add a display").click()
    drawer.get_by_label("Output").select_option("brass")
    text = drawer.get_by_label("What it is sent")
    text.fill("scene name")
    text.press("Enter")
    drawer.get_by_role("button", name="Add the display").click()
    expect(drawer.get_by_role("alert").last).to_contain_text("SysEx in hexadecimal")
    text.fill("F0 7D 01 {scene.name:6} F7")
    text.press("Enter")
    drawer.get_by_role("button", name="Add the display").click()
    _sent(brass, OVERTURE)
    drawer.get_by_role("button", name="Test").click()
    _sent(brass, TEST)
    _sent(brass, OVERTURE)
    drawer.get_by_role("button", name="Cue", exact=True).click()
    _sent(brass, OVERTURE.replace("F7", f"{b'      '.hex(' ')} F7"))
    assert two_pit.said == []


def test_a_switch_is_tried_and_does_several_things(two_pit: PanelInBrowser) -> None:
    """A control does on the page what a press would do; a second action follows the first; the file has both."""
    two_pit.engine.request(
        "edit",
        what="values",
        values=[{"path": ["controls", 0], "value": {"input": "pads", "when": {"note": 36}, "do": "next"}}],
    )
    page = two_pit.page(view="gear")
    drawer = page.locator("#view-gear .drawer")
    _row(page, "pads: note 36")
    drawer.get_by_role("button", name="Test: do it now").click()
    expect(page.locator("#dock-scene")).to_contain_text("12 Street at night")
    drawer.get_by_label("What it does").select_option("scene 11 Overture")
    row = page.locator("#view-gear .thing", has_text="pads: note 36")
    expect(row).to_contain_text("scene 11")
    drawer.get_by_label("Then, 2").select_option("mute or unmute pads to brass")
    expect(row).to_contain_text("scene 11, then mute or unmute pads to brass")
    drawer.get_by_role("button", name="Test: do it now").click()
    expect(page.locator("#dock-scene")).to_contain_text("11 Overture")
    page.get_by_role("link", name="Show").click()
    in_force(page, 11, "Overture")
    expect(page.locator("#health")).to_contain_text("muted: pads to brass")
    two_pit.engine.request("save")
    saved = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))["controls"][0]
    assert saved["do"] == [{"scene": 11}, {"toggle": "pads to brass"}]
    assert two_pit.said == []


def test_what_a_control_answers_to_is_edited_and_learned_again(two_pit: PanelInBrowser) -> None:
    """Another key, then a controller from a value on, then what is played three times; a number that MIDI does not
    have is a fault at its field."""
    two_pit.engine.request(
        "edit",
        what="values",
        values=[{"path": ["controls", 0], "value": {"input": "pads", "when": {"note": 36}, "do": "next"}}],
    )
    page = two_pit.page(PHONE, view="gear")
    drawer = page.locator("#view-gear .drawer")
    _row(page, "pads: note 36")
    number = drawer.get_by_label("Number")
    number.fill("200")
    number.press("Enter")
    expect(drawer.locator(".field", has=page.get_by_label("Number")).get_by_role("alert")).to_contain_text("127")
    number.fill("38..41")
    number.press("Enter")
    expect(drawer.locator("h2")).to_have_text("pads: note 38 to 41")
    drawer.get_by_label("What it sends").select_option("a controller")
    expect(drawer.locator("h2")).to_have_text("pads: controller 80")
    drawer.get_by_label("Pressed from value").fill("100")
    drawer.get_by_label("Pressed from value").press("Enter")
    expect(drawer.locator("h2")).to_have_text("pads: controller 80, at least 100")
    drawer.get_by_role("button", name="Learn it again").click()
    expect(drawer.locator(".learning")).to_contain_text("Press the switch three times")
    for _ in range(3):
        for value in (127, 0):
            two_pit.players["pads"].play(bytes((0xB0, 81, value)))
            page.wait_for_timeout(400)  # a foot takes its time
    expect(drawer.locator(".learning")).to_contain_text("pressed 3 of 3 times")
    drawer.get_by_role("button", name="Use it").click()
    expect(drawer.locator("h2")).to_contain_text("pads: controller 81")
    two_pit.engine.request("save")
    saved = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))["controls"]
    assert [each["when"]["controller"] for each in saved] == [81]
    assert saved[0]["do"] == "next"
    assert two_pit.said == []


def test_a_switch_is_for_players(players_pit: PanelInBrowser) -> None:
    """A control at an input that is nobody's is given to a player; a name that nobody has is a fault at the field."""
    players_pit.engine.request(
        "edit",
        what="values",
        values=[{"path": ["controls", 0], "value": {"input": "keys", "when": {"note": 36}, "do": "next"}}],
    )

    def annas_scene() -> object:
        answer = players_pit.engine.request("status")
        return answer and answer["status"]["players"]["anna"]["scene"]["number"]

    page = players_pit.page(view="gear")
    _row(page, "keys: note 36")
    drawer = page.locator("#view-gear .drawer")
    field = drawer.get_by_label("For players")
    field.fill("zoe")
    field.press("Tab")
    expect(drawer.locator(".fault:visible")).to_contain_text("zoe")
    field.fill("anna")
    field.press("Tab")
    expect(drawer.locator(".fault:visible")).to_have_count(0)
    drawer.get_by_role("button", name="Test: do it now").click()
    until("Anna's next scene", lambda: annas_scene() == 22)
    players_pit.engine.request("save")
    saved = tomllib.loads(players_pit.engine.file.read_text(encoding="utf-8"))["controls"][0]
    assert saved["players"] == ["anna"]
    assert players_pit.said == []
