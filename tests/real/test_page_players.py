"""Players with scenes of their own and set lists of songs are made in the room Scenes, and are in the file."""

import tomllib
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from tests.support.panel_in_browser import PHONE, RIG_PLAYERS, PanelInBrowser, answered, pit
from tests.support.waiting import until

#: so that nothing is scrolled in a drag: a busy browser drops it where the pointer was before
TALL: ViewportSize = {"width": 1366, "height": 3000}
#: for another player: an input that is not there, and a scene of his own
RIG_BEN = (
    RIG_PLAYERS.replace("[outputs]", 'wind = { port = "Wind controller*" }\n[outputs]', 1)
    + """
[[scenes]]
number = 31
name = "Solo"
routes = [ { from = "wind", to = "brass" } ]
[[setlists]]
name = "Ben, act 1"
scenes = [31]
"""
)


def _players(pit: PanelInBrowser) -> dict[str, Any]:
    """The players that the engine plays by, each with where they are."""
    answer = pit.engine.request("status")
    assert answer is not None
    found: dict[str, Any] = answer["status"]["players"]
    return found


def test_a_player_is_removed_made_and_renamed(players_pit: PanelInBrowser) -> None:
    """Anna goes and Carla comes, with an input and a set list; a set list whose scenes others play is refused beside
    the form. She is called Berta then."""
    page = players_pit.page(view="scenes")
    room = page.locator("#view-scenes .things")
    room.get_by_text("anna: pads, Anna, act 1").click()
    room.get_by_role("button", name="Remove this player: anna").click()
    until("nobody but the rest of the rig", lambda: not _players(players_pit))
    room.get_by_label("Name of a new player").fill("carla")
    room.get_by_label("Input of the new player").select_option("pads")
    room.get_by_role("button", name="Add the player").click()
    expect(room.locator("form").get_by_role("alert")).to_contain_text("plays inputs of no player")
    room.get_by_label("Set list of the new player").select_option("Anna, act 1")
    room.get_by_role("button", name="Add the player").click()
    room.get_by_text("carla: pads, Anna, act 1").click()
    made = room.locator("details.list", has_text="carla")
    made.get_by_label("Name").fill("berta")
    made.get_by_label("Name").press("Enter")
    expect(room.get_by_text("berta: pads, Anna, act 1")).to_be_visible()
    expect(room.get_by_role("group", name="Inputs of berta").get_by_role("button", name="pads")).to_be_disabled()
    until("a scene of hers", lambda: _players(players_pit)["berta"]["scene"]["number"] == 21)
    players_pit.engine.request("save")
    saved = tomllib.loads(players_pit.engine.file.read_text(encoding="utf-8"))
    assert saved["players"] == [{"name": "berta", "inputs": ["pads"], "setlist": "Anna, act 1"}]
    assert players_pit.said == []


def test_a_set_list_of_songs_is_made_and_filled(two_pit: PanelInBrowser) -> None:
    """It begins with all songs; one that is played twice is added once more."""
    page = two_pit.page(view="scenes")
    page.get_by_role("button", name="New list of songs").click()
    made = page.locator("details.list", has_text="Songs 2: 1 entry")
    made.locator("summary").click()
    page.locator("details.list", has_text="Songs 2").get_by_role("button", name="Add Market").click()
    answered(page, "Market added")
    two_pit.engine.request("save")
    saved = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))
    assert saved["setlists"][1] == {"name": "Songs 2", "songs": ["Market", "Market"]}
    assert two_pit.said == []


def _names(pit: PanelInBrowser, section: str) -> list[str]:
    """The names in a section of the rig that plays, in order."""
    answer = pit.engine.request("rig")
    assert answer is not None
    return [each["name"] for each in answer["rig"][section]]


def _friday(pit: PanelInBrowser) -> list[int]:
    """The scenes of that set list in the rig that plays, in order."""
    answer = pit.engine.request("rig")
    assert answer is not None
    [found] = [each["scenes"] for each in answer["rig"]["setlists"] if each["name"] == "Friday"]
    return [*found]


def _closed_list(page: Page, name: str) -> Locator:
    """The rows of a list whose entries open."""
    found = page.get_by_role("list", name=f"{name}; Alt with an arrow key moves an entry", exact=True)
    return found.locator("> li > details > summary")


def test_players_are_put_in_order(jack_server: str, chromium: Browser, tmp_path: Path) -> None:
    """Dragged, or by Alt with an arrow key: each plays on where they are, what is open stays open, the focus goes
    along, and Undo says which move it takes back. An entry of a set list is no player: dropped there, it stays."""
    with pit(tmp_path, chromium, RIG_BEN) as found:
        ben = {"name": "ben", "inputs": ["wind"], "setlist": "Ben, act 1"}
        found.engine.request("edit", what="values", values=[{"path": ["players", 1], "value": ben}])
        page = found.page(view="scenes")
        page.set_viewport_size(TALL)
        rows = _closed_list(page, "Players")
        found.engine.request("scene", scene=22)
        before = _players(found)
        rows.nth(1).click()
        rows.nth(1).drag_to(rows.nth(0))
        answered(page, "ben is now player 1")
        expect(rows).to_contain_text(["ben: wind", "anna: pads"])
        expect(rows.nth(0)).to_be_focused()
        assert rows.locator("..").evaluate_all("all => all.map((each) => each.open)") == [True, False]
        assert (_names(found, "players"), _players(found)) == (["ben", "anna"], before)
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowUp")
        page.keyboard.press("Alt+ArrowDown")
        answered(page, "ben is now player 2")
        expect(rows).to_contain_text(["anna: pads", "ben: wind"])
        expect(rows.nth(1)).to_be_focused()
        page.keyboard.press("Alt+ArrowDown")  # it is the last
        page.get_by_role("button", name="Undo: ben is now player 2").click()
        until("as it was", lambda: _names(found, "players") == ["ben", "anna"])
        expect(rows).to_contain_text(["ben: wind", "anna: pads"])
        expect(page.get_by_role("button", name="Undo: ben is now player 1")).to_be_visible()
        lists = _closed_list(page, "Set lists")
        lists.nth(0).click()
        entries = page.get_by_role("list", name="Friday, in order", exact=False).get_by_role("listitem")
        entries.nth(2).drag_to(rows.nth(1))
        entries.nth(2).drag_to(entries.nth(0))
        answered(page, "Friday: 13 Finale is now 1.")
        page.get_by_role("button", name="Undo: Friday: 13 Finale is now 1.").click()
        answered(page, "undone")
        expect(entries).to_contain_text(["11 Overture", "12 Street at night", "13 Finale"])
        assert _friday(found) == [11, 12, 13], "nothing else was moved"
        assert _names(found, "players") == ["ben", "anna"]
        assert found.said == []


def test_set_lists_and_songs_are_put_in_order(two_pit: PanelInBrowser) -> None:
    """By Alt with an arrow key: the entries within stay in their order, and the file has both as they are shown."""
    page = two_pit.page(PHONE, view="scenes")
    page.get_by_role("button", name="New set list").click()
    answered(page, "Set list 2 added")
    page.get_by_role("button", name="New song").click()
    answered(page, "Song 2 added")
    for section, names in (("Set lists", ["Set list 2", "Friday"]), ("Songs", ["Song 2", "Market"])):
        rows = _closed_list(page, section)
        rows.nth(1).focus()
        page.keyboard.press("Alt+ArrowUp")
        expect(rows).to_contain_text(names)
        expect(rows.nth(0)).to_be_focused()
    two_pit.engine.request("save")
    saved = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))
    assert [each["name"] for each in saved["setlists"]] == ["Set list 2", "Friday"]
    assert [each["name"] for each in saved["songs"]] == ["Song 2", "Market"]
    assert saved["setlists"][1]["scenes"] == [11, 12, 13]
    assert two_pit.said == []
