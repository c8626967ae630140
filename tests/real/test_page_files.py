"""The rig's file in the page: differences, versions, copies, what is kept after a mishap; a message that is typed."""

import os
import tomllib
from pathlib import Path

import pytest
from playwright.sync_api import Locator, expect

from tests.support.panel_in_browser import LONGEST, PanelInBrowser, answered, in_force
from tests.support.paths import PRESETS
from tests.support.waiting import until


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The player's home folder, for the engine that is started then."""
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.setitem(os.environ, "HOME", str(folder))
    return folder


def _choose(field: Locator, name: str, text: str) -> None:
    field.set_input_files({"name": name, "mimeType": "application/toml", "buffer": text.encode()})


def test_versions_copies_and_what_was_played(home: Path, two_pit: PanelInBrowser) -> None:
    """What is not saved is shown line by line; an earlier version plays again; a copy is downloaded, and played; a rig
    that would open this machine to others is refused; what was played is kept in the home folder."""
    page = two_pit.page(view="gear")
    two_pit.engine.request("scenes", what="rename", number=13, name="Last dance")
    page.get_by_role("button", name="What is not saved").click()
    expect(page.locator(".differences")).to_contain_text('+name = "Last dance"')
    with page.expect_download() as download:
        page.get_by_role("button", name="Download a copy").click()
    copy = Path(download.value.path()).read_text(encoding="utf-8")
    assert download.value.suggested_filename == "rig.toml"
    assert "Last dance" in copy
    two_pit.engine.request("save")
    page.get_by_role("button", name="Earlier versions").click()
    page.get_by_role("button", name="Go back to version 1").click()
    answered(page, "name was Last dance, is Finale")
    page.get_by_role("link", name="Show").click()
    page.locator("#order").select_option("")
    page.locator("#scenes").get_by_role("button", name="Finale").click()
    in_force(page, 13, "Finale")
    page.get_by_role("link", name="Gear").click()
    field = page.get_by_label("Play another rig, from a copy")
    _choose(field, "open.toml", copy + "[osc]\nport = 9000\n")
    expect(page.locator("#view-gear [role=alert]:visible")).to_contain_text("may not change [osc]")
    _choose(field, "copy.toml", copy)
    expect(page.locator("#view-gear")).to_contain_text("the rig from copy.toml plays")
    expect(page.locator("#dock-scene")).to_contain_text("13 Last dance")
    page.get_by_label("As", exact=True).fill("mishap.jsonl")
    page.get_by_role("button", name="Keep it").click()
    answered(page, "mishap.jsonl")
    assert (home / "mishap.jsonl").exists()
    assert two_pit.said == []


def test_a_typed_message_is_traced(two_pit: PanelInBrowser) -> None:
    """Its way through a scene is shown, without anything being played; what is no message is refused in words."""
    page = two_pit.page(view="monitor")
    page.get_by_text("Trace a message that you type").click()
    page.get_by_label("In scene").select_option("12 Street at night")
    page.get_by_role("button", name="Trace it").click()
    way = page.locator(".explained")
    expect(way).to_contain_text("90 30 40")  # an octave down
    page.get_by_label("Message", exact=True).fill("90 3C")
    page.get_by_role("button", name="Trace it").click()
    expect(way.locator(".fault")).to_contain_text("90 3C is not a message")
    assert not two_pit.sounding("brass")
    assert two_pit.said == []


def test_a_song_is_rehearsed(two_pit: PanelInBrowser) -> None:
    """Through the file, with what there is to mend and the whole report; unsaved edits are to be saved first."""
    page = two_pit.page(view="gear")
    page.get_by_label("Song", exact=True).set_input_files(PRESETS / "demo.mid")
    page.get_by_label("Played on").select_option("keys")
    page.get_by_label("Beginning with").select_option("14 Waltz")
    two_pit.engine.request("scenes", what="rename", number=13, name="Last dance")
    expect(page.locator("#view-gear")).to_contain_text("there are edits that it does not have yet")
    page.get_by_role("button", name="Rehearse", exact=True).click()
    expect(page.locator("#view-gear [role=alert]:visible")).to_contain_text("save")
    two_pit.engine.request("save")
    expect(page.locator("#view-gear")).to_contain_text("it has all edits")
    page.get_by_role("button", name="Rehearse", exact=True).click()
    expect(page.locator("#view-gear")).to_contain_text(
        "demo.mid through Pit with a page: 13 s, 212 messages in", timeout=LONGEST
    )
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the whole report").click()
    assert "Pit with a page" in Path(download.value.path()).read_text(encoding="utf-8")
    assert two_pit.said == []


def test_dumps_of_gear(two_pit: PanelInBrowser, tmp_path: Path) -> None:
    """What gear sends of its memory is downloaded, byte for byte, and sent back from such a file."""
    dump = (bytes((0xF0, 0x7D, 1, *range(100), 0xF7)), bytes((0xF0, 0x7D, 2, 5, 0xF7)))
    page = two_pit.page(view="gear")
    page.get_by_label("Comes in at").select_option("pads")
    page.get_by_role("button", name="Receive a dump").click()
    expect(page.locator("#view-gear")).to_contain_text("start it at the gear")

    brass = two_pit.boxes["brass"]

    def kept_back() -> bool:
        """Before the engine waits for a dump, it is routed like music."""
        brass.synth.log.clear()
        two_pit.players["pads"].play(dump[0])
        page.wait_for_timeout(400)
        brass.listen()
        return dump[0] not in brass.synth.log

    until("the engine to wait for it", kept_back)
    page.get_by_role("link", name="Download the dump").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the dump").click()
    assert download.value.suggested_filename == "pads.syx"
    assert Path(download.value.path()).read_bytes() == dump[0]
    file = tmp_path / "kept.syx"
    file.write_bytes(b"\x00".join(dump))
    page.get_by_label("Dump", exact=True).set_input_files(file)
    page.get_by_label("Goes to").select_option("strings")
    page.get_by_role("button", name="Send the dump").click()
    expect(page.locator("#dock-said")).to_have_attribute("data-state", "done")
    strings = two_pit.boxes["strings"]

    def arrived() -> list[bytes]:
        strings.listen()
        return [each for each in strings.synth.log if each[:2] == b"\xf0\x7d"]

    until("the whole dump to arrive", lambda: len(arrived()) == len(dump))
    assert arrived() == [*dump]
    assert two_pit.said == []


def test_the_rig_has_a_name_a_scene_to_start_with_and_names_of_notes(two_pit: PanelInBrowser) -> None:
    """What [rig] says is chosen in the page; a scene that gets another name stays the one to start with."""
    page = two_pit.page(view="gear")
    page.get_by_label("Name of the rig").fill("Lantern Street, autumn")
    page.get_by_label("Name of the rig").press("Tab")
    expect(page.locator("#rig-name")).to_have_text("Lantern Street, autumn")
    page.get_by_label("Starts with").select_option("13 Finale")
    answered(page, "the scene at the start")
    page.get_by_label("The gear prints note 60 as").select_option("C3")
    answered(page, "the names of notes")
    two_pit.engine.request("scenes", what="rename", number=13, name="Last dance")
    expect(page.get_by_label("Starts with").locator("option:checked")).to_have_text("13 Last dance")
    two_pit.engine.request("save")
    table = tomllib.loads(two_pit.engine.file.read_text(encoding="utf-8"))["rig"]
    assert table == {"name": "Lantern Street, autumn", "start": 13, "middle_c": "C3"}
    page.get_by_label("Starts with").select_option("the scene that was last in force")
    answered(page, "the scene at the start")
    page.get_by_label("Name of the rig").fill("")
    page.get_by_label("Name of the rig").press("Tab")
    expect(page.get_by_label("Name of the rig")).to_have_value("Untitled rig")
    assert two_pit.said == []
