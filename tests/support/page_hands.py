"""A player's hands on the page: with the mouse, or by keyboard alone. They count what they do."""

import re
from typing import Protocol

from playwright.sync_api import Locator, Page, expect

from tests.support.waiting import until

#: how often Tab has to be pressed (backwards, if negative) until an element has the focus
STEPS = """element => {
  const all = [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")].filter(
    (each) => each.tabIndex >= 0 && !each.disabled && each.checkVisibility());
  const now = document.activeElement;
  const wanted = all.indexOf(element);
  if (all.includes(now)) return wanted - all.indexOf(now);
  const before = all.filter((each) => now.compareDocumentPosition(each) & Node.DOCUMENT_POSITION_PRECEDING).length;
  return wanted < before ? wanted - before : wanted - before + 1;
}"""
WAYS_BACK = re.compile("^(All scenes|Close)$")


class Touch(Protocol):
    """One way to press, type and choose."""

    page: Page

    def press(self, what: Locator) -> None: ...

    def type(self, what: Locator, text: str) -> None: ...

    def enter(self, what: Locator) -> None: ...

    def choose(self, what: Locator, value: str) -> None: ...


class Mouse:
    """As Playwright does it."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def press(self, what: Locator) -> None:
        what.click()

    def type(self, what: Locator, text: str) -> None:
        what.fill(text)

    def enter(self, what: Locator) -> None:
        what.press("Enter")

    def choose(self, what: Locator, value: str) -> None:
        what.select_option(value)


class Keyboard:
    """Tab, arrows, Enter and letters: nothing is given the focus but by a key."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def press(self, what: Locator) -> None:
        self._reach(what)
        self.page.keyboard.press("Enter")

    def type(self, what: Locator, text: str) -> None:
        self._reach(what)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def enter(self, what: Locator) -> None:
        self._reach(what)
        self.page.keyboard.press("Enter")

    def choose(self, what: Locator, value: str) -> None:
        self._reach(what)
        steps = int(
            what.evaluate("(e, to) => [...e.options].findIndex((o) => o.value === to) - e.selectedIndex", value)
        )
        for _ in range(abs(steps)):
            self.page.keyboard.press("ArrowDown" if steps > 0 else "ArrowUp")
        expect(what).to_have_value(value)

    def _reach(self, what: Locator) -> None:
        """Press Tab until it has the focus; what is drawn meanwhile may change how often."""
        expect(what).to_be_visible()
        expect(what).to_be_enabled()

        def reached() -> bool:
            steps = int(what.evaluate(STEPS))
            for _ in range(abs(steps)):
                self.page.keyboard.press("Tab" if steps > 0 else "Shift+Tab")
            if steps:
                self.page.wait_for_timeout(50)  # what is being drawn may be what was in the way
            return not steps

        until(f"Tab to reach {what}", reached)


class Hand:
    """What a player does in the rooms Gear and Scenes; `actions` counts presses, choices and texts typed."""

    def __init__(self, touch: Touch) -> None:
        self._touch = touch
        self.page = touch.page
        self.actions = 0

    def press(self, what: Locator) -> None:
        self.actions += 1
        self._touch.press(what)

    def type(self, what: Locator, text: str) -> None:
        self.actions += 1
        self._touch.type(what, text)

    def back_to_list(self) -> None:
        """Where a phone shows what was chosen, turn to the list that it was chosen from."""
        for back in self.page.locator(".room.chosen > .drawer").get_by_role("button", name=WAYS_BACK).all():
            if back.is_visible() and not self.page.locator(".things:visible").count():
                self.press(back)
                expect(self.page.locator(".things:visible")).to_be_visible()

    def enter(self, what: Locator, text: str) -> None:
        """Type a text and end it with Enter."""
        self.type(what, text)
        self._touch.enter(what)

    def choose(self, what: Locator, value: str) -> None:
        self.actions += 1
        self._touch.choose(what, value)

    def use(self, port: str, name: str, channel: str | None = None) -> None:
        """Give a connected port a name."""
        row = self.page.locator("li.free", has_text=port)
        self.type(row.get_by_role("textbox"), name)
        if channel is not None:
            self.choose(row.get_by_role("combobox"), channel)
        self.press(row.get_by_role("button"))
        expect(self.page.locator(".thing", has_text=port)).to_be_visible()

    def sound(self, instrument: str, name: str, program: str) -> None:
        """Add a sound to an instrument, whose details are then open."""
        self.back_to_list()
        self.press(self.page.locator(f"[data-key='instruments {instrument}']"))
        drawer = self.page.locator("#view-gear .drawer")
        self.type(drawer.locator("[name=sound]"), name)
        self.type(drawer.locator("[name=program]"), program)
        self.press(drawer.get_by_role("button", name="Add the sound"))
        expect(drawer.locator(".sounds")).to_contain_text(name)

    def hole(self, row: int, name: str) -> Locator:
        """Open a hole of the line in this row of the chosen scene; the control that comes."""
        line = self.page.locator(".lines .line").nth(row)
        direct = line.locator(f"[data-key='hole {row} {name}']")
        control = line.locator(".control")
        if direct.count():
            self.press(direct)
        else:
            self.press(line.locator(f"[data-key='hole {row} more']"))
            self.press(control.locator(f"[data-key='{name}']"))
        expect(line.locator(f"[data-key='control {name}']")).to_be_visible()
        return control

    def line(self, row: int, instrument: str, sound: str, says: str) -> None:
        """Add a play line with this sound."""
        self.press(self.page.get_by_role("button", name="Add a play line"))
        line = self.page.locator(".lines .line").nth(row)
        self.press(line.locator(".control").get_by_role("button", name=instrument, exact=True))
        expect(line.locator(".sentence")).to_contain_text(f"on {instrument}")
        self.press(self.hole(row, "sound").get_by_role("button", name=sound, exact=True))
        expect(line.locator(".sentence")).to_contain_text(says)

    def scene(self, name: str) -> None:
        """Add a scene with this name."""
        self.back_to_list()
        title = self.page.locator("#view-scenes .drawer h2")
        before = title.inner_text()
        self.press(self.page.get_by_role("button", name="New", exact=True))
        expect(title).not_to_have_text(before)
        self.enter(self.page.locator(".facts-of-scene").get_by_label("Name", exact=True), name)
        expect(self.page.locator(".ordered [aria-current]")).to_contain_text(name)
