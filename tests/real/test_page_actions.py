"""All that a control may do is chosen in the page, and typed where it is to be typed; its messages arrive."""

import json
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, get_args

import pytest
from playwright.sync_api import Browser, Locator, Page, WebSocketRoute, expect

from engine.rig.models.actions import ActionTable, Word
from tests.support.jack_ends import Box
from tests.support.page_hands import Keyboard, Mouse
from tests.support.panel_in_browser import PHONE, RIG, PanelInBrowser, answered, pit, violations
from tests.support.waiting import until

LAPTOP = (1366, 768)
WORDS = set(get_args(Word))
#: without what came with format 2
OLD_RIG = (
    RIG.replace("format = 2", "format = 1")
    .partition("[[songs]]")[0]
    .replace('text = "watch the drummer\\nbar 40"\n', "")
)


def _drawer(found: PanelInBrowser, page: Page, **when: Any) -> Locator:
    """The details of a control at the pads, which is added first."""
    control = {"input": "pads", "when": when, "do": "next"}
    found.engine.request("edit", what="values", values=[{"path": ["controls", 0], "value": control}])
    page.locator("#view-gear [data-key='controls 0'] .thing").click()
    return page.locator("#view-gear .drawer")


def _control(found: PanelInBrowser) -> dict[str, Any]:
    """The control as the rig that plays has it."""
    answer = found.engine.request("rig")
    assert answer is not None
    control: dict[str, Any] = answer["rig"]["controls"][0]
    return control


def _does(found: PanelInBrowser, wanted: Any) -> None:
    until(f"{wanted}", lambda: _control(found)["do"] == wanted)


def _has(box: Box, *messages: bytes) -> bool:
    """Whether the box has received these."""
    box.listen()
    return set(messages) <= set(box.synth.log)


def _fault(field: Locator) -> Locator:
    return field.locator("..").get_by_role("alert")


@pytest.mark.parametrize(("touch", "size", "theme"), [(Mouse, LAPTOP, "light"), (Keyboard, PHONE, "dark")])
def test_messages_are_typed(
    two_pit: PanelInBrowser, touch: type[Mouse | Keyboard], size: tuple[int, int], theme: Any
) -> None:
    """A switch sends what was typed, in words; a wrong word is a fault at its field, and what was typed stays until it
    is right; another place is chosen, and the gear gets it there."""
    page = two_pit.page(size, theme, view="gear")
    hand, drawer = touch(page), _drawer(two_pit, page, note=36)
    what, messages = drawer.get_by_label("What it does"), drawer.get_by_label("Messages")
    sends = what.locator("option", has_text="send messages").get_attribute("value")
    assert sends is not None
    hand.choose(what, sends)
    assert drawer.get_by_label("Where to").input_value() == "on string-machine"
    hand.type(messages, "volume 200\nF0 7D 01 F7")
    page.keyboard.press("Tab")
    expect(_fault(messages)).to_contain_text('"volume 0" to "127"')
    answered(page, "Not done: what is wrong is beside the field.")
    hand.choose(drawer.get_by_label("Where to"), "to brass")
    expect(_fault(messages)).to_contain_text('"volume 0" to "127"')
    expect(messages).to_have_value("volume 200\nF0 7D 01 F7")
    hand.type(messages, "start\nF0 7D 01 F7")
    page.keyboard.press("Tab")
    _does(two_pit, {"send": ["start", "F0 7D 01 F7"], "to": "brass"})
    expect(_fault(messages)).to_have_count(0)
    assert violations(page, "#view-gear .drawer") == []
    hand.press(drawer.get_by_role("button", name="Test: do it now"))
    until("the gear has both", partial(_has, two_pit.boxes["brass"], b"\xfa", b"\xf0\x7d\x01\xf7"))
    messages.focus()
    for key in ("Control+A", "Delete", "Tab"):
        page.keyboard.press(key)
    expect(_fault(messages)).to_contain_text("Type a message")
    assert _control(two_pit)["do"] == {"send": ["start", "F0 7D 01 F7"], "to": "brass"}
    assert two_pit.said == []


def test_a_tempo_is_typed_and_follows_another_action(two_pit: PanelInBrowser) -> None:
    """It begins as the tempo in force; one that no clock has is a fault at its field, and Undo takes each step back."""
    page = two_pit.page(LAPTOP, view="gear")
    drawer = _drawer(two_pit, page, note=36)
    drawer.get_by_label("Then, 2").select_option("set the tempo")
    _does(two_pit, ["next", {"tempo": 96.0}])
    tempo = drawer.get_by_label("Tempo")
    tempo.fill("500")
    tempo.press("Enter")
    expect(_fault(tempo)).to_contain_text("20 to 300 beats per minute")
    tempo.fill("132.5")
    tempo.press("Enter")
    _does(two_pit, ["next", {"tempo": 132.5}])
    drawer.get_by_label("Then, 2").select_option("nothing more")
    _does(two_pit, "next")
    page.get_by_role("link", name="Scenes").click()
    page.get_by_role("button", name="Undo: pads: next").click()
    _does(two_pit, ["next", {"tempo": 132.5}])
    assert two_pit.said == []


def _differs(found: PanelInBrowser, before: Any) -> bool:
    """Whether the control does something else now."""
    return bool(_control(found)["do"] != before)


def _choose_all(found: PanelInBrowser, what: Locator) -> set[str]:
    """Choose each option; the words and keys of tables that the rig then has."""
    chosen: set[str] = set()
    for label in [each.inner_text() for each in what.locator("option").all()]:
        before = _control(found)["do"]
        if label not in ("send messages", before):
            what.select_option(label)
            until(label, partial(_differs, found, before))
        do = _control(found)["do"]
        chosen |= {do} if isinstance(do, str) else set(do)
    return chosen


def test_every_action_of_the_rig_file_is_there(two_pit: PanelInBrowser) -> None:
    """Each word and each key of a table can be chosen, and is what the rig then has; what mutes by a word is a table
    now. A program of any number recalls the scene of that number."""
    page = two_pit.page(view="gear")
    what = _drawer(two_pit, page, program="any").get_by_label("What it does")
    tables = set(ActionTable.model_fields) - {"to", "on", "send"}
    assert _choose_all(two_pit, what) == (WORDS - {"mute", "unmute", "send"}) | tables
    assert two_pit.said == []


class Blind:
    """A page that does not learn, for a while, what is new; it gets its answers."""

    def __init__(self, page: Page) -> None:
        self._missed: list[str | bytes] | None = None
        page.route_web_socket("**/live", self._between)
        page.reload()

    def _between(self, page: WebSocketRoute) -> None:
        self._page = page
        page.connect_to_server().on_message(self._came)

    def _came(self, message: str | bytes) -> None:
        if self._missed is None or "frame" not in json.loads(message):
            self._page.send(message)
        else:
            self._missed.append(message)

    def close_eyes(self) -> None:
        self._missed = []

    def open_eyes(self) -> None:
        missed, self._missed = self._missed or [], None
        for message in missed:
            self._page.send(message)


def test_an_edit_that_others_have_overtaken_is_made_again(two_pit: PanelInBrowser) -> None:
    """Somebody else edits a scene in the moment of a choice: it is made again when the page knows of that.

    If it was the same control, what was chosen stays in its list, and the page says what happened.
    """
    page = two_pit.page(LAPTOP, view="gear")
    blind = Blind(page)
    drawer = _drawer(two_pit, page, note=36)
    what = drawer.get_by_label("What it does")
    other = {"what": "facts", "scene": 14, "facts": {"text": "slower"}}
    same = {"what": "values", "values": [{"path": ["controls", 0, "guard"], "value": "250 ms"}]}
    for edit, chosen in ((other, "back"), (same, "first")):
        blind.close_eyes()
        two_pit.engine.request("edit", **edit)
        what.select_option(chosen)
        answered(page, "the rig has changed since you looked at it")
        blind.open_eyes()
        expect(drawer.get_by_label("Ignored after a press")).to_have_value("250 ms" if edit is same else "")
        expect(page.locator("[data-key='controls 0'] .how")).to_have_text("back")
    expect(_fault(what)).to_contain_text("the rig has changed since you looked at it")
    expect(what).to_have_value("first")
    assert _control(two_pit)["do"] == "back"
    assert two_pit.said == []


def test_keys_that_pass_over_entries_make_one_edit(two_pit: PanelInBrowser) -> None:
    """Arrow keys go down a closed list: the entry where they rest, or where the list is left, is chosen, and no other.

    The page's clock is stopped, so that keys rest as long as the test says.
    """
    page = two_pit.page(view="gear")
    drawer = _drawer(two_pit, page, note=36)
    what = drawer.get_by_label("What it does")
    what.focus()
    page.clock.install(time=0)
    page.clock.pause_at(1000)
    leaves: tuple[Callable[[], None], ...] = (partial(page.clock.run_for, 600), partial(page.keyboard.press, "Tab"))
    for leave in leaves:
        before = two_pit.engine.request("rig")
        for _ in range(4):
            page.keyboard.press("ArrowDown")
        chosen = what.input_value()
        assert before is not None
        assert two_pit.engine.request("rig") == before
        leave()
        _does(two_pit, chosen)
        answered(page, f"pads: {chosen}")
        now = two_pit.engine.request("rig")
        assert now is not None
        assert now["revision"] == before["revision"] + 1
    assert two_pit.said == []


def test_a_rig_of_format_1_has_its_own_words(jack_server: str, chromium: Browser, tmp_path: Path) -> None:
    """A scene, muting, unmuting and messages in hexadecimal are chosen and typed there, too; the page shows what such
    a rig sends."""
    with pit(tmp_path, chromium, OLD_RIG) as found:
        page = found.page(PHONE, view="gear")
        drawer = _drawer(found, page, note=36)
        what, messages = drawer.get_by_label("What it does"), drawer.get_by_label("Messages")
        what.select_option("scene 12 Street at night")
        answered(page, "pads: scene 12")
        what.select_option("mute pads to brass")
        answered(page, "pads: mute pads to brass")
        assert _control(found) | {"do": "mute", "route": "pads to brass"} == _control(found)
        what.select_option("send messages")
        drawer.get_by_label("Where to").select_option("output brass")
        messages.fill("start")
        messages.press("Tab")
        expect(_fault(messages)).to_contain_text("complete messages in hexadecimal")
        messages.fill("FC\nf0 7d 01 f7")
        messages.press("Tab")
        answered(page, "pads: send FC, f0 7d 01 f7 to brass")
        wanted = {"do": "send", "output": "brass", "messages": ["FC", "F0 7D 01 F7"]}
        assert _control(found) == {"input": "pads", "when": {"note": [36, 36]}, **wanted}
        expect(messages).to_have_value("FC\nF0 7D 01 F7")
        found.engine.request("save")
        assert tomllib.loads(found.engine.file.read_text(encoding="utf-8"))["controls"][0]["do"] == "send"
        assert found.said == []


def test_times_and_passing_on_and_songs_with_commas(two_pit: PanelInBrowser) -> None:
    """A worn switch is given a longer guard, a long press its length; its message is passed on; a song whose name has a
    comma is one song."""
    song = {"name": "Slow, then fast", "scenes": [13]}
    two_pit.engine.request("edit", what="values", values=[{"path": ["songs", 1], "value": song}])
    page = two_pit.page(LAPTOP, view="gear")
    drawer = _drawer(two_pit, page, note=36, press="long")
    for label, text in (
        ("Ignored after a press", "250 ms"),
        ("A long press lasts", "1 s"),
        ("Only in songs", "Slow, then fast, Market"),
    ):
        drawer.get_by_label(label).fill(text)
        drawer.get_by_label(label).press("Enter")
        answered(page, text)
    drawer.get_by_label("Ignored after a press").fill("long")
    drawer.get_by_label("Ignored after a press").press("Enter")
    expect(_fault(drawer.get_by_label("Ignored after a press"))).to_contain_text("a time with its unit")
    drawer.get_by_label("Its message is played as well").check()
    until("it is passed on", lambda: _control(two_pit).get("pass"))
    two_pit.engine.request("save")
    saved = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))["controls"][0]
    assert (saved["guard"], saved["hold"], saved["pass"]) == ("250 ms", "1 s", True)
    assert saved["songs"] == ["Slow, then fast", "Market"]
    assert violations(page, "#view-gear .drawer") == []
    assert two_pit.said == []
