"""Live edits, undo and redo, and saving with proof. (Our own design, README: operating; no outside source.)"""

import json
import os
import sys
import threading
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import trio
import trio.testing

from engine.answer_codes import AnswerCode
from engine.core.commands import NextScene, RecallScene, Resend
from engine.core.control.remote_messages import RouteRequest
from engine.live.edit import rig_session
from engine.live.edit.edit_requests import EditRequests
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import to_its_end
from engine.rig.edit import versions as saving
from engine.rig.read.load import read
from tests.support.answered import answered
from tests.support.players_rig import PLAYERS
from tests.support.small_show import RIG, Bench
from tests.support.waiting import eventually

TEXT = f'# for Friday\n{RIG}[remote]\ninputs = ["pedals"]\ndevice = 5\nto = ["brass"]\n'


class Desk:
    """A show in scene 1 with its session, which is asked as the socket asks it."""

    def __init__(self, folder: Path, text: str = TEXT) -> None:
        self.bench = Bench(text)
        self.show = self.bench.show
        self.show.apply(RecallScene(1), "shell")
        self.file = folder / "pit.toml"
        self.file.write_text(text, encoding="utf-8")
        self.session = RigSession(self.show, self.file, text, to_its_end)
        self.saver = RigSaver(self.session)
        self.remote_work = RemoteWork(self.show, self.session)
        self.requests = EditRequests(self.show, self.session, self.saver, self.remote_work)

    async def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        return await answered(self.requests.handlers, request)

    async def scenes(self, what: str, number: int | str | None = None, **more: int | str) -> dict[str, Any]:
        numbered = {} if number is None else {"number": number}
        return await self.ask({"do": "scenes", "what": what, **numbered, **more})

    async def save(self, what: str | None = None, **more: int | str) -> dict[str, Any]:
        return await self.ask({"do": "save", "what": what, **more})

    def on_disk(self) -> str:
        return self.file.read_text(encoding="utf-8")

    def names(self) -> list[str]:
        return [scene.name for scene in self.show.engine.rig.scenes]

    async def kept(self) -> list[str]:
        """All versions that are kept, newest first."""
        kept = saving.RigVersions(self.file)
        return [kept.text(each["number"]) for each in (await self.save("history"))["versions"]]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A show whose rig file is not watched."""
    return Desk(tmp_path)


async def test_an_edit_plays_and_is_saved_when_asked(desk: Desk) -> None:
    """A live edit plays at once; save writes it to the file with every comment kept and lists the changes."""
    said = await desk.scenes("rename", 3, name="Last dance")
    assert (said["done"], said["text"]) == (True, 'scene 3 renamed to "Last dance"; not saved yet (bayleaf save)')
    assert (desk.names()[2], desk.on_disk()) == ("Last dance", TEXT)
    said = await desk.save()
    assert said["done"]
    assert (
        "and read back: it holds the current rig. Changes:\n  scene 3: name was Finale, is Last dance" in said["text"]
    )
    assert desk.on_disk() == TEXT.replace("Finale", "Last dance")
    assert "nothing to save" in (await desk.save())["text"]


async def test_undo_and_redo(desk: Desk) -> None:
    """Live edits are undone newest first and redone oldest first; a new edit clears what could be redone."""
    await desk.scenes("rename", 3, name="Last dance")
    await desk.scenes("rename", 1, name="Prelude")
    assert (await desk.scenes("undo"))["text"].startswith('undone: scene 1 renamed to "Prelude"; not saved yet')
    assert (await desk.scenes("undo"))["text"] == 'undone: scene 3 renamed to "Last dance"; nothing left to save'
    assert desk.session.text == TEXT
    said = await desk.scenes("undo")
    assert (said["done"], said["text"]) == (False, "there is no edit to undo")
    assert (await desk.scenes("redo"))["text"].startswith('redone: scene 3 renamed to "Last dance"')
    assert (await desk.scenes("redo"))["done"]
    assert desk.names() == ["Prelude", "March", "Last dance"]
    assert not (await desk.scenes("redo"))["done"]
    await desk.scenes("undo")
    await desk.scenes("rename", 2, name="Parade")
    assert not (await desk.scenes("redo"))["done"]
    assert desk.names() == ["Overture", "Parade", "Last dance"]


@pytest.mark.parametrize("noticed", [None, rig_session.WAITS])
@pytest.mark.parametrize("choice", ["playing", "file"])
async def test_a_file_changed_meanwhile_is_shown_and_both_texts_are_kept(
    desk: Desk, choice: str, noticed: str | None
) -> None:
    """If the file was edited too, nothing is saved until one text is chosen; the other is kept as a version. It is the
    same if the file has been looked at by then."""
    desk.show.refused = noticed
    await desk.scenes("rename", 3, name="Last dance")
    played, theirs = desk.session.text, TEXT.replace("March", "Parade")
    desk.file.write_text(theirs, encoding="utf-8")
    for what in (None, "undo"):
        said = await desk.save(what)
        assert (said["done"], said["code"]) == (False, "conflict")
        assert "save --playing" in said["text"]
        assert "save --file" in said["text"]
        assert '-name = "Parade"' in said["text"]
        assert '+name = "Last dance"' in said["text"]
        assert (desk.on_disk(), desk.session.text) == (theirs, played)
    assert (await desk.save(choice=choice))["done"]
    chosen, other = (played, theirs) if choice == "playing" else (theirs, played)
    assert desk.on_disk() == desk.session.text == chosen
    assert desk.show.engine.rig == read(chosen, "chosen")
    assert (await desk.kept())[0] == other
    assert (await desk.save())["done"]


async def test_so_many_edits_can_be_undone(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Undo reaches back over a number of edits, 100 by default, and says when there is none left."""
    monkeypatch.setattr(rig_session, "_UNDO", 3)
    for number in range(5):
        await desk.scenes("rename", number=1, name=f"Take {number}")
    undone = [(await desk.scenes("undo"))["done"] for _ in range(4)]
    assert (undone, desk.names()[0]) == ([True, True, True, False], "Take 1")


async def test_what_undo_remembers_is_bounded(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the texts are, undo keeps no more of them than a certain memory holds, and always the last one."""
    monkeypatch.setattr(rig_session, "_UNDO_BYTES", 3 * sys.getsizeof(TEXT))
    for number in range(6):
        await desk.scenes("rename", number=1, name=f"Take {number}")
    names = []
    while (await desk.scenes("undo"))["done"]:
        names.append(desk.names()[0])
    assert names == ["Take 4", "Take 3", "Take 2"]
    monkeypatch.setattr(rig_session, "_UNDO_BYTES", 0)
    await desk.scenes("rename", number=1, name="Last")
    assert (await desk.scenes("undo"))["done"]


async def test_what_the_file_replaced_is_had_back_by_undo(desk: Desk) -> None:
    """After save --file, the live edits can be restored with scenes undo, and as a version with save --undo."""
    await desk.scenes("rename", 3, name="Last dance")
    played = desk.session.text
    desk.file.write_text(TEXT.replace("March", "Parade"), encoding="utf-8")
    await desk.save(choice="file")
    await desk.scenes("undo")
    assert desk.session.text == played
    await desk.scenes("redo")
    assert (await desk.save("undo"))["done"]
    assert desk.on_disk() == desk.session.text == played


async def test_a_file_that_cannot_be_read_is_not_taken(desk: Desk) -> None:
    """save --file with a faulty file reports the fault; the current rig keeps playing."""
    await desk.scenes("rename", 3, name="Last dance")
    desk.file.write_text(TEXT + "[nonsense]\n", encoding="utf-8")
    said = await desk.save(choice="file")
    assert not said["done"]
    assert "nonsense" in said["text"]
    assert desk.names()[2] == "Last dance"


async def test_a_file_that_was_rejected_is_not_offered(desk: Desk) -> None:
    """Once an edited file has been rejected, a plain save offers the current rig, and says how to check the file."""
    await desk.scenes("rename", 3, name="Last dance")
    desk.file.write_text(TEXT + "[nonsense]\n", encoding="utf-8")
    desk.show.refused = "unknown key"
    said = (await desk.save())["text"]
    assert "bayleaf save --playing" in said
    assert "bayleaf check" in said
    assert "save --file" not in said


async def test_save_undo_goes_back_and_forth(desk: Desk) -> None:
    """save --undo plays and saves the version before; a second one restores the newer. No live edit is lost."""
    await desk.scenes("rename", 3, name="Last dance")
    await desk.save()
    saved = desk.on_disk()
    await desk.scenes("rename", 1, name="Prelude")
    live = desk.session.text
    assert (await desk.save("undo"))["done"]
    assert desk.on_disk() == desk.session.text == TEXT
    await desk.scenes("undo")
    assert desk.session.text == live
    await desk.scenes("redo")
    assert (await desk.save("undo"))["done"]
    assert desk.on_disk() == saved


async def test_the_difference_is_shown(desk: Desk) -> None:
    """save --diff shows, line by line, how the current rig differs from the file."""
    assert (await desk.save("diff"))["text"] == f"{desk.file} holds the current rig"
    await desk.scenes("rename", 3, name="Last dance")
    assert '-name = "Finale"\n+name = "Last dance"' in (await desk.save("diff"))["text"]


async def test_a_save_that_fails_is_reported_and_can_be_tried_again(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk gets one sentence, the file is unchanged and the edit keeps playing; with room again it is saved."""
    await desk.scenes("rename", 3, name="Last dance")

    def full(*_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        said = await desk.save()
    assert (said["done"], desk.on_disk()) == (False, TEXT)
    assert said["text"].endswith("is unchanged: No space left on device")
    assert desk.names()[2] == "Last dance"
    assert (await desk.save())["done"]


async def test_a_file_with_windows_line_ends_stays_so(desk: Desk) -> None:
    """CRLF and the BOM survive save and undo, and the file never counts as changed because of them."""
    windows = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    desk.file.write_bytes(windows)
    await desk.scenes("rename", 3, name="Last dance")
    assert (await desk.save())["done"]
    assert desk.file.read_bytes() == windows.replace(b"Finale", b"Last dance")
    assert (await desk.save("undo"))["done"]
    assert desk.file.read_bytes() == windows
    assert "nothing to save" in (await desk.save())["text"]


async def test_two_edits_at_one_moment_both_happen(desk: Desk) -> None:
    """Routes set by SysEx at the same moment are applied one after the other, so that neither undoes the other."""
    wanted = [RouteRequest(1, 2, True), RouteRequest(2, 1, True), RouteRequest(2, 2, True)]
    async with trio.open_nursery() as nursery:
        for route in wanted:
            nursery.start_soon(desk.remote_work._set_route, route)
        nursery.start_soon(desk.scenes, "copy", 1)
    ways = {(source, to) for route in desk.bench.scene(1).routes for source in route.source for to in route.to}
    assert ways == {("keys", "strings"), ("keys", "brass"), ("pedals", "strings"), ("pedals", "brass")}


async def test_routes_restored_rigs_and_learnt_controls_are_live_edits(desk: Desk) -> None:
    """SysEx routes, restored rigs and learnt controls are each undone by undo and saved by save."""
    control = {"input": "pedals", "when": {"note": 3}, "do": "back"}
    await desk.remote_work._set_route(RouteRequest(1, 2, True))
    await desk.ask({"do": "learn", "control": control})
    learnt = desk.session.text
    await desk.ask({"do": "restore", "text": TEXT.replace("March", "Parade"), "where": "x"})
    assert desk.names()[1] == "Parade"
    await desk.scenes("undo")
    assert desk.session.text == learnt
    await desk.scenes("undo")
    await desk.scenes("undo")
    assert desk.session.text == TEXT


async def test_a_learnt_control_is_saved_alone_only(desk: Desk) -> None:
    """Confirming learn writes the control to the file; other unsaved edits are left for the player to save."""
    control = {"input": "pedals", "when": {"note": 3}, "do": "back"}
    asked = {"do": "learn", "control": control}
    said = await desk.ask(asked)
    assert said["done"]
    assert said["text"].startswith("the control works; saved to ")
    assert "note = 3" in desk.file.read_text()
    await desk.scenes("copy", 1, new=40)
    held = desk.file.read_text()
    said = await desk.ask({**asked, "control": {**control, "when": {"note": 5}}})
    assert said["text"] == "the control works; not saved yet (bayleaf save)"
    assert desk.file.read_text() == held


async def test_a_control_learnt_beside_another_edit_saves_none_but_its_own(desk: Desk) -> None:
    """With two people at once, an earlier unsaved edit is not saved along with the control."""
    held = desk.file.read_text()
    control = {"input": "pedals", "when": {"note": 3}, "do": "back"}
    async with trio.open_nursery() as both:
        both.start_soon(partial(desk.scenes, "copy", 1, new=40))
        await trio.testing.wait_all_tasks_blocked()  # the copy has begun
        both.start_soon(desk.ask, {"do": "learn", "control": control})
    assert "note = 3" in desk.session.text
    assert 40 in [scene.number for scene in desk.show.engine.rig.scenes]
    assert desk.file.read_text() == held


async def test_a_players_scene_is_stored_from_what_they_play(tmp_path: Path) -> None:
    """A scene that is Anna's stays hers; a new one is hers if she is named, and takes nobody else's sounds."""
    desk = Desk(tmp_path, PLAYERS)
    desk.show.apply(RecallScene(22), "shell")
    desk.show.apply(RecallScene(31), "shell")
    said = await desk.scenes("store", 21)
    assert said["text"].startswith("scene 21 Fanfare stored: 1 line, 1 sound;")
    said = await desk.scenes("store", 23, name="Echo", player="anna")
    assert said["done"]
    for number in (21, 23):
        found = desk.bench.scene(number)
        assert [(line.on, line.sound, line.transpose) for line in found.play] == [("brass", "Muted", 12)]
        assert found.burst == ()
    assert desk.show.engine.state.compiled.players.scenes[23] == "anna"
    said = await desk.scenes("store", 24, player="carl")
    assert said["code"] == AnswerCode.UNKNOWN_PLAYER


async def test_what_plays_is_stored(desk: Desk) -> None:
    """store writes what plays into the scene: the routes that are not muted and the last sound sent to each channel."""
    said = await desk.scenes("store", 30, name="Here")
    assert said["text"].startswith("scene 30 Here stored: 1 route, 1 sound;")
    here, overture = desk.bench.scene(30), desk.bench.scene(1)
    assert here.routes == overture.routes
    desk.bench.heard("strings")
    desk.show.apply(RecallScene(2), "shell")
    assert desk.show.apply(RecallScene(30), "shell").unchanged == 1
    desk.show.apply(Resend(), "shell")
    assert desk.bench.heard("strings")[-3:] == ["B4 00 00", "B4 20 03", "C4 0B"]


@pytest.mark.parametrize("request_", [{"what": "copy", "number": "x"}, {"what": "sing", "number": 1}, {"what": "copy"}])
async def test_a_request_that_makes_no_sense_changes_nothing(desk: Desk, request_: dict[str, Any]) -> None:
    """It is answered with one sentence."""
    said = await desk.scenes(request_["what"], request_.get("number"))
    assert not said["done"]
    assert json.dumps(said)
    assert desk.session.text == TEXT


async def test_the_file_edited_while_nothing_is_unsaved_is_followed_and_can_be_taken_back(
    desk: Desk, nursery: trio.Nursery
) -> None:
    """With nothing unsaved, an edit of the file plays by itself; scenes undo undoes it like any other."""
    nursery.start_soon(RigFileFollower(desk.session).run)
    desk.file.write_text(TEXT.replace("March", "Parade"), encoding="utf-8")
    await eventually(lambda: desk.names()[1] == "Parade")
    assert not desk.session.unsaved
    await desk.scenes("undo")
    assert desk.session.text == TEXT
    assert desk.session.unsaved


async def test_an_edit_of_the_file_that_was_refused_is_followed_once_undo_makes_room(
    desk: Desk, nursery: trio.Nursery
) -> None:
    """While live edits are unsaved, an edit of the file waits; once they are undone, it plays."""
    nursery.start_soon(RigFileFollower(desk.session).run)
    await desk.scenes("rename", 3, name="Last dance")
    desk.file.write_text(TEXT.replace("March", "Parade"), encoding="utf-8")
    await eventually(lambda: desk.show.refused is not None)
    assert desk.names()[1] == "March"
    await desk.scenes("undo")
    await eventually(lambda: desk.names()[1] == "Parade")
    assert desk.show.refused is None


async def test_storing_keeps_blank_steps(desk: Desk) -> None:
    """When a scene with a blank burst step is stored, the step stays blank in its place."""
    blank = '{ output = "brass", channel = 3 }, { instrument = "string-machine", bank'
    made = desk.session.text.replace('{ instrument = "string-machine", bank', blank)
    await desk.ask({"do": "restore", "text": made, "where": "x"})
    assert (await desk.scenes("store", 1))["done"]
    assert desk.session.text == made


async def test_storing_fills_a_blank_step_whose_instrument_has_a_sound_now(desk: Desk) -> None:
    """When a scene is stored, a blank step gets the current sound of its instrument if there is one."""
    made = desk.session.text + '[[scenes]]\nnumber = 9\nname = "Plan"\nburst = [{ instrument = "string-machine" }]\n'
    await desk.ask({"do": "restore", "text": made, "where": "x"})
    assert (await desk.scenes("store", 9))["done"]
    assert desk.bench.scene(9).burst == desk.bench.scene(1).burst


async def test_a_scene_that_is_deleted_while_it_plays(desk: Desk) -> None:
    """It keeps playing, and the answer says so."""
    said = await desk.scenes("delete", 1)
    assert said["text"].startswith("scene 1 deleted; it keeps playing until another is recalled; not saved yet")
    desk.bench.play(0, "90 3C 40")
    assert "90 3C 40" in desk.bench.heard("strings")


async def test_a_scene_that_is_deleted_while_it_plays_is_sent_again(desk: Desk) -> None:
    """A player, a foot switch or waking up may ask for its sounds, which it still has, even if an output is missing."""
    await desk.scenes("delete", 1)
    desk.bench.outputs["brass"].unplug()
    desk.show.check_outputs()
    desk.bench.passes(1_000_000_000)
    desk.bench.heard("strings")
    assert desk.show.apply(Resend(), "shell").text.startswith("scene 1 Overture sent again")
    desk.bench.passes(2_000_000_000)
    assert any(message.startswith("C") for message in desk.bench.heard("strings"))


async def test_a_scene_that_is_renumbered_while_it_plays(desk: Desk) -> None:
    """It continues under its new number, its burst is not sent again, and next continues from its place."""
    desk.bench.heard("strings")
    desk.bench.play(0, "90 3C 40")
    said = await desk.scenes("renumber", 1, new=41)
    sentence = "scene 1 renumbered to 41; control 1 (pedals) now recalls it with program 41"
    assert said["text"] == f"{sentence}; not saved yet (bayleaf save)"
    assert [each["number"] for each in (await desk.scenes("list"))["scenes"] if each["now"]] == [41]
    desk.bench.play(0, "80 3C 40")
    assert desk.bench.heard("strings") == ["90 3C 40", "80 3C 40"]
    assert desk.show.apply(NextScene(), "shell").scene == (2, "March")


async def test_a_file_edited_before_the_first_look_is_followed(desk: Desk, nursery: trio.Nursery) -> None:
    """An edit made between reading the file and first checking it plays."""
    desk.file.write_text(TEXT.replace("March", "Parade"), encoding="utf-8")
    late = RigSession(desk.show, desk.file, TEXT, to_its_end)
    nursery.start_soon(RigFileFollower(late).run)
    await eventually(lambda: desk.names()[1] == "Parade")


async def test_any_version_is_had_back_and_compared(desk: Desk) -> None:
    """save --undo and --diff take the number of any version, not only of the newest."""
    for name in ("One", "Two", "Three"):
        await desk.scenes("rename", 3, name=name)
        await desk.save()
    assert (await desk.kept())[-1] == TEXT
    shown = (await desk.save("diff", version=1))["text"]
    assert shown.startswith("--- version 1\n+++ current rig\n")
    assert '-name = "Finale"\n+name = "Three"' in shown
    assert (await desk.save("undo", version=1))["done"]
    assert desk.on_disk() == desk.session.text == TEXT
    assert (await desk.save("diff", version=1))["text"] == "version 1 holds the current rig"
    for number, reason in ((99, "there is no version 99"), ("1", "whole number")):
        for what in ("undo", "diff"):
            said = await desk.save(what, version=number)
            assert not said["done"]
            assert reason in said["text"]
    assert desk.on_disk() == TEXT


async def test_a_version_that_cannot_be_played_is_not_taken(desk: Desk) -> None:
    """The rejection names another way, and the older version behind it can still be restored."""
    broken = TEXT + "[nonsense]\n"
    await desk.scenes("rename", 3, name="Last dance")
    await desk.save()
    await desk.scenes("rename", 3, name="Farewell")
    desk.file.write_text(broken, encoding="utf-8")
    assert "did not hold a valid rig" in (await desk.save(choice="playing"))["text"]
    assert (await desk.kept())[0] == broken
    said = await desk.save("undo")
    assert not said["done"]
    assert "--undo --version" in said["text"]
    assert (await desk.save("undo", version=1))["done"]
    assert desk.on_disk() == TEXT


async def test_a_file_that_is_gone_is_made_again_when_asked(desk: Desk) -> None:
    """A rig file that was deleted is written again only when the player says so; the current rig is not lost."""
    await desk.scenes("rename", 3, name="Last dance")
    desk.file.unlink()
    for what, more in ((None, {}), (None, {"choice": "file"}), ("undo", {}), ("diff", {})):
        said = await desk.save(what, **more)
        assert (said["done"], said["code"]) == (False, "file-missing")
        assert "no longer exists" in said["text"]
        assert "bayleaf save --playing" in said["text"]
        assert not desk.file.exists()
    said = await desk.save(choice="playing")
    assert said["text"].endswith("Changes:\n  the file is new")
    assert desk.on_disk() == desk.session.text


async def test_a_file_that_is_no_text_is_kept_when_what_plays_is_chosen(desk: Desk) -> None:
    """A file that is not UTF-8 is shown but never adopted, and kept byte for byte when it is overwritten."""
    await desk.scenes("rename", 3, name="Last dance")
    noise = TEXT.encode() + b"# \xff\xfe\n"
    desk.file.write_bytes(noise)
    said = await desk.save()
    assert (said["done"], "-# \N{REPLACEMENT CHARACTER}" in said["text"]) == (False, True)
    assert said["text"].encode()
    said = await desk.save(choice="file")
    assert (said["done"], "not UTF-8" in said["text"], desk.names()[2]) == (False, True, "Last dance")
    assert desk.file.read_bytes() == noise
    assert (await desk.save(choice="playing"))["done"]
    kept = sorted((desk.file.parent / ".pit.toml.versions").glob("*.toml"))
    assert kept[-1].read_bytes() == noise


async def test_what_a_killed_save_left_is_reported_by_the_next(desk: Desk) -> None:
    """The next save removes the half-written file and names it."""
    left = desk.file.with_name(".pit.toml.abc.saving")
    left.write_text("half")
    await desk.scenes("rename", 3, name="Last dance")
    assert f"{left.name}, left half-written by an interrupted save, was removed" in (await desk.save())["text"]
    assert not left.exists()


async def test_a_scene_that_was_renumbered_and_saved_is_begun_with_the_next_time(desk: Desk) -> None:
    """The new number becomes the scene to start with once the file has it."""
    desk.bench.scenes.clear()
    await desk.scenes("renumber", 1, new=41)
    assert desk.bench.scenes == []
    await desk.save()
    assert desk.bench.scenes == [41]


async def test_what_is_unsaved_at_the_end_is_kept_and_reported(desk: Desk) -> None:
    """Unsaved live edits are kept as a version when the show ends, and the file is unchanged."""
    await desk.saver.leave()
    assert await desk.kept() == []
    await desk.scenes("rename", 3, name="Last dance")
    desk.bench.told()
    await desk.saver.leave()
    assert (await desk.kept(), desk.on_disk()) == ([desk.session.text], TEXT)
    [(_, notice)] = desk.bench.told()
    assert "bayleaf save --undo --version 1 brings them back" in notice


async def test_what_cannot_be_kept_at_the_end_is_reported(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a full disk the player is informed that the live edits are lost, and why; the show still ends."""

    def full(*_: int) -> None:
        raise OSError(28, "No space left on device")

    await desk.scenes("rename", 3, name="Last dance")
    monkeypatch.setattr(os, "fsync", full)
    desk.bench.told()
    await desk.saver.leave()
    [(_, notice)] = desk.bench.told()
    assert "are lost:" in notice
    assert "No space left on device" in notice


async def test_a_slow_disk_at_the_end_loses_no_edit(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """A version that is being written when the time for it is over is finished, and reported."""
    begun, late, flush = threading.Event(), threading.Event(), os.fsync

    def slow(file: int) -> None:
        begun.set()
        late.wait()
        flush(file)

    await desk.scenes("rename", 3, name="Last dance")
    monkeypatch.setattr(os, "fsync", slow)
    desk.bench.told()
    async with trio.open_nursery() as nursery:
        nursery.start_soon(desk.saver.leave)
        await trio.to_thread.run_sync(begun.wait)
        nursery.cancel_scope.cancel()
        with trio.CancelScope(shield=True):
            await trio.testing.wait_all_tasks_blocked()
        late.set()
    [(_, notice)] = desk.bench.told()
    assert "they are kept as version 1" in notice
    assert await desk.kept() == [desk.session.text]


async def test_a_disk_that_hangs_at_the_end_is_reported(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The show ends without the version, and the player knows."""
    for_ever = threading.Event()
    await desk.scenes("rename", 3, name="Last dance")
    monkeypatch.setattr(os, "fsync", lambda file: for_ever.wait())
    desk.bench.told()
    with trio.move_on_after(0.05):
        await desk.saver.leave()
    for_ever.set()
    [(_, notice)] = desk.bench.told()
    assert notice == "edits were not saved and may be lost: the disk did not answer in time"


async def test_the_answer_names_all_that_follows_a_changed_scene(desk: Desk) -> None:
    """The answer names set lists, controls and start that follow a new name or number, and lists that lose a scene."""
    called = '[[setlists]]\nname = "Friday"\nscenes = [2, "March", 3]\n'
    control = '[[controls]]\ninput = "keys"\nwhen = { note = 1 }\ndo = "scene"\nscene = "March"\n'
    start = TEXT.replace("[rig]\n", '[rig]\nstart = "March"\n')
    await desk.ask({"do": "restore", "text": start + called + control, "where": "x"})
    said = await desk.scenes("rename", 2, name="Parade")
    assert said["text"].startswith('scene 2 renamed to "Parade", also in start, set list Friday and control 2;')
    said = await desk.scenes("renumber", 2, new=22)
    assert said["text"].startswith(
        "scene 2 renumbered to 22, also in set list Friday; control 1 (pedals) now recalls it"
    )
    assert (await desk.scenes("delete", 3))["text"].startswith("scene 3 deleted and removed from set list Friday;")
    rig = desk.show.engine.rig
    assert (rig.rig.start, rig.setlists[0].scenes, rig.controls[1].scene) == ("Parade", (22, "Parade"), "Parade")


async def test_ports_in_another_order_are_numbered_in_it(desk: Desk) -> None:
    """Machines that set routes count inputs in the order of the file, which an edit may change and nothing else."""
    assert [*desk.show.engine.rig.inputs] == ["keys", "pedals"]
    lines = TEXT.splitlines(keepends=True)
    first = next(place for place, line in enumerate(lines) if line.startswith("keys ="))
    lines[first], lines[first + 1] = lines[first + 1], lines[first]
    assert (await desk.remote_work.restore("".join(lines), "a test")).done
    assert [*desk.show.engine.rig.inputs] == ["pedals", "keys"]
    await desk.scenes("undo")
    assert [*desk.show.engine.rig.inputs] == ["keys", "pedals"]
