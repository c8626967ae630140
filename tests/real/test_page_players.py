"""Players with scenes of their own and set lists of songs are made in the room Scenes, and are in the file."""

import tomllib
from typing import Any

from playwright.sync_api import expect

from tests.support.panel_in_browser import PanelInBrowser, answered
from tests.support.waiting import until


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
