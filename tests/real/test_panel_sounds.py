"""Sounds on the page: found by a few letters, tried as hard as was set, and put back on Cancel."""

from playwright.sync_api import expect

from tests.support.panel_in_browser import PanelInBrowser
from tests.support.waiting import until


def test_a_sound_is_found_tried_chosen_and_put_back(two_pit: PanelInBrowser) -> None:
    """A few letters find it; Try plays it at the velocity that was set, and the sound before comes back; what is chosen
    reaches the gear at once, and Cancel puts back the sound that the line had when its list was opened."""
    two_pit.engine.request("scene", scene=14)
    page = two_pit.page(view="scenes")
    box = two_pit.boxes["strings"]

    def on(program: int) -> bool:
        box.listen()
        return box.synth.sound.get(4, (0, 0, 0))[2] == program - 1

    page.get_by_role("button", name="Sound: the sound it is on").click()
    control = page.locator(".control")
    control.get_by_role("button", name="Warm pad", exact=True).click()
    page.get_by_role("button", name="Sound: Warm pad").click()
    until("the sound", lambda: on(12))
    page.get_by_role("button", name="Sound: Warm pad").click()
    control.get_by_label("Find a sound").fill("trem")
    expect(control.locator(".sounds")).not_to_contain_text("Warm pad")
    expect(control).to_contain_text("Mind the monitors")
    control.get_by_label("Velocity of test notes").fill("99")
    control.get_by_role("button", name="Try Tremolo").click()
    until("the phrase", lambda: on(45))
    expect(page.locator("#dock-said")).to_contain_text("Tremolo was played; the previous sound is back")
    until("the sound before", lambda: on(12))
    control.get_by_role("button", name="Tremolo", exact=True).click()
    page.get_by_role("button", name="Sound: Tremolo").wait_for()
    until("the sound that was chosen", lambda: on(45))
    control.get_by_role("button", name="Cancel: back to Warm pad").click()
    page.get_by_role("button", name="Sound: Warm pad").wait_for()
    until("the sound before", lambda: on(12))
    expect(control).to_have_count(0)
    page.get_by_role("link", name="Gear").click()
    expect(page.get_by_label("Velocity of test notes")).to_have_value("99")
    assert two_pit.said == []
