"""The rig file edited while the show runs: adopted whole or rejected whole. In virtual time, on ports in memory."""

import os
import time
from pathlib import Path

import pytest
import trio
import trio.testing

from engine.core.commands import RecallScene
from engine.live.edit import rig_session as workshop_module
from engine.live.edit.rig_adoption import adopt, made_ready
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_session import RigSession
from engine.live.hotplug import Hotplug
from engine.live.port_opening import PortOpener, connect
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.live.socket.status import status
from engine.ports.memory import MemorySystem
from engine.rig.read.load import load, read, text_of
from tests.live.test_hotplug import INPUTS
from tests.support.at_once import at_once
from tests.support.small_show import MS, RIG

S = 1000 * MS
BURST = ["B4 00 00", "B4 20 03", "C4 0B"]


class Desk:
    """A show, its file follower and its session; time is the test's, and reading a file takes no virtual time."""

    def __init__(self, mock_clock: trio.testing.MockClock, file: Path) -> None:
        self.mock_clock, self.file = mock_clock, file
        self.said: list[str] = []
        self.reading = 0  # edits that are being read just now
        self.system = MemorySystem("pit", INPUTS, ("Box 1", "Box 2", "Box 3"), self.now)
        self.outputs = {name: self.system.output(name) for name in ("Box 1", "Box 2", "Box 3")}
        rig = load(file)
        opener = PortOpener(self.system, virtual=False)
        patch = connect(rig, opener)
        self.reader = InputReader({index: patch.inputs[name] for index, name in enumerate(rig.inputs)})
        self.show = Show(rig, patch, self.reader, clock=self.now, say=self.said.append)
        self.show.apply(RecallScene(1), "shell")
        self.watch, self.edits = (
            Hotplug(self.show, opener, self.now, at_once),
            RigFileFollower(RigSession(self.show, file, text_of(file), to_its_end), at_once),
        )
        self.heard("Box 1")

    def now(self) -> int:
        return round(self.mock_clock.current_time() * S)

    async def passes(self, seconds: float | int) -> None:
        """Let time pass; a file that was being read has been read by the end of it."""
        for _ in range(round(seconds / 0.05)):
            self.mock_clock.jump(0.0501)
            await trio.testing.wait_all_tasks_blocked()
            while self.reading:
                await trio.to_thread.run_sync(time.sleep, 0.0002)
            await trio.testing.wait_all_tasks_blocked()
            self.play()

    def play(self, port: str = "", *messages: str) -> None:
        """Let these messages arrive, and give the reader and the show their turn."""
        for message in messages:
            self.system.input(port).push(bytes.fromhex(message))
        self.reader._poll(self.now())
        self.reader._settle()
        self.show.pump()

    def heard(self, port: str) -> list[str]:
        """What this output was sent since the last call, on the old port object and on the present one."""
        sent = []
        for each in dict.fromkeys((self.outputs[port], self.system.output(port))):
            sent += [message.hex(" ").upper() for _, message in each.sent]
            each.sent.clear()
        self.outputs[port] = self.system.output(port)
        return sent


@pytest.fixture
async def desk(
    mock_clock: trio.testing.MockClock, nursery: trio.Nursery, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Desk:
    """The show in scene 1, its burst already collected. (It runs on virtual time only in tests that take the clock.)"""
    file = tmp_path / "pit.toml"
    file.write_text(RIG, encoding="utf-8")
    desk = Desk(mock_clock, file)
    reload = RigFileFollower._reload

    async def counted(edits: RigFileFollower) -> None:
        desk.reading += 1
        try:
            await reload(edits)
        finally:
            desk.reading -= 1

    monkeypatch.setattr(RigFileFollower, "_reload", counted)
    nursery.start_soon(desk.watch.run)
    nursery.start_soon(desk.edits.run)
    return desk


def scene(number: int, name: str, to: str = "brass") -> str:
    return f'\n[[scenes]]\nnumber = {number}\nname = "{name}"\nroutes = [{{ from = "keys", to = "{to}" }}]\n'


async def test_a_valid_edit_is_adopted(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """A scene added to the file can be recalled a second after saving; adopting it sends nothing."""
    desk.file.write_text(RIG + scene(9, "Encore"), encoding="utf-8")
    await desk.passes(1)
    assert desk.heard("Box 1") == []
    assert any("changed; now playing the new version (4 scenes)" in said for said in desk.said)
    assert desk.show.apply(RecallScene("Encore"), "shell").scene == (9, "Encore")
    desk.play("Stage piano", "90 3C 40")
    assert desk.heard("Box 2") == ["90 3C 40"]


async def test_a_held_note_is_not_cut_and_gets_its_release(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """A key held across an edit that transposes its route keeps sounding, and its release matches its press."""
    desk.play("Stage piano", "90 3C 40")
    edited = RIG.replace(
        '[{ from = "keys", to = "strings" }]',
        '[{ from = "keys", to = "strings", through = [{ filter = "transpose", semitones = 5 }] }]',
    )
    desk.file.write_text(edited, encoding="utf-8")
    await desk.passes(1)
    desk.play("Stage piano", "90 40 40", "80 3C 40", "80 40 40")
    assert desk.heard("Box 1") == ["90 3C 40", "90 45 40", "80 3C 40", "80 45 40"]


async def test_an_output_more_is_opened(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """An output added to the file is opened and played to."""
    more = RIG.replace("[instruments", 'harp = { port = "Box 3" }\n[instruments', 1) + scene(9, "Encore", "harp")
    desk.file.write_text(more, encoding="utf-8")
    await desk.passes(2)
    assert [port["state"] for port in status(desk.show)["outputs"]] == ["open"] * 3
    desk.show.apply(RecallScene(9), "shell")
    desk.play("Stage piano", "90 3C 40")
    assert desk.heard("Box 3")[-1] == "90 3C 40"


async def test_an_output_that_is_taken_out_is_released_then_closed(
    mock_clock: trio.testing.MockClock, desk: Desk
) -> None:
    """The notes on an output removed from the rig are released before its port is closed; the rest plays on."""
    desk.show.apply(RecallScene(3), "shell")
    desk.play("Stage piano", "90 3C 40", "B0 40 7F")
    desk.play("Foot controller", "90 30 40")
    desk.heard("Box 2")
    port = desk.system.output("Box 2")
    less = RIG.replace('brass = { port = "Box 2" }\n', "").replace('["strings", "brass"]', '"strings"')
    desk.file.write_text(less.replace('to = "brass"', 'to = "strings"'), encoding="utf-8")
    await desk.passes(1)
    assert desk.heard("Box 2") == ["80 48 40", "80 3C 40", "B0 40 00"]
    assert port.closed
    desk.play("Stage piano", "90 3E 40")
    assert desk.heard("Box 1")[-1] == "90 4A 40"


async def test_an_output_that_became_another_port_is_opened_there(
    mock_clock: trio.testing.MockClock, desk: Desk
) -> None:
    """An output whose pattern changed is released on its old port and gets the scene on its new one; an input too."""
    desk.play("Stage piano", "90 3C 40")
    edited = RIG.replace('"Box 1"', '"Box 3"').replace('"Foot controller"', '"Foot*"')
    desk.file.write_text(edited, encoding="utf-8")
    await desk.passes(2)
    assert desk.heard("Box 1") == ["90 3C 40", "80 3C 40"]
    assert desk.heard("Box 3")[-3:] == BURST
    assert desk.show.ports.missing() == ([], [])
    desk.play("Foot controller", "C0 01")
    assert desk.show.engine.scene == (2, "March")


@pytest.mark.parametrize("between", [[], ["Box 3"]])
async def test_an_output_that_is_brought_back_while_it_closes_stays_open(
    mock_clock: trio.testing.MockClock, desk: Desk, between: list[str]
) -> None:
    """An undo may be faster than a port closes, also after edits that named other ports: the port is set up again and
    the next note sounds there."""
    desk.show.apply(RecallScene(3), "shell")
    desk.play("Stage piano", "90 3C 40")
    port, less = desk.system.output("Box 2"), RIG.replace('brass = { port = "Box 2" }\n', "")
    less = less.replace('["strings", "brass"]', '"strings"').replace('to = "brass"', 'to = "strings"')
    for text in (less, *(RIG.replace("Box 2", name) for name in between), RIG):
        adopt(desk.show, made_ready(read(text, "pit.toml"), desk.show.engine.state.compiled), text)
    desk.heard("Box 2")
    desk.play("Stage piano", "90 40 40")
    assert desk.heard("Box 2")[-1] == "90 4C 40"
    await desk.passes(1)
    assert not port.closed
    assert desk.system.output("Box 2") is port


async def test_nothing_begins_on_a_port_that_is_let_go_of(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """Whatever is played while the old port is being closed, no note and no pedal may be left down there."""
    desk.play("Stage piano", "90 3C 40")
    desk.file.write_text(RIG.replace('"Box 1"', '"Box 3"'), encoding="utf-8")
    for _ in range(40):
        await desk.passes(0.05)
        desk.play("Stage piano", "90 30 40", "B0 40 7F")
    old = desk.outputs["Box 1"]
    assert old.closed
    sent = desk.heard("Box 1")
    assert [each for each in sent if each.endswith("30 40")][-1] == "80 30 40"
    assert [each for each in sent if each.startswith("B0 40")][-1] == "B0 40 00"


async def test_a_wrong_edit_is_refused_and_the_old_rig_plays_on(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """A faulty file is reported with its line and in the status; nothing else changes. Corrected, it is adopted."""
    before = desk.show.revision
    desk.file.write_text(RIG + scene(9, "Encore", "organ") + scene(9, "Twice"), encoding="utf-8")
    await desk.passes(1)
    line = RIG.count("\n") + 5
    assert desk.show.revision == before
    assert f"{desk.file}:{line}:" in status(desk.show)["refused_rig"]
    assert any(
        "rejected; the current rig keeps playing" in said and f"{desk.file}:{line}:" in said for said in desk.said
    )
    desk.play("Stage piano", "90 3C 40")
    assert desk.heard("Box 1") == ["90 3C 40"]
    desk.file.write_text(RIG + scene(9, "Encore"), encoding="utf-8")
    await desk.passes(1)
    assert status(desk.show)["refused_rig"] is None
    assert 9 in desk.show.engine.state.compiled.scenes


async def test_an_edit_that_is_taken_back_is_no_longer_refused(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """Restoring the file to its text before the fault clears the complaint."""
    desk.file.write_text("format = 2\n", encoding="utf-8")
    await desk.passes(1)
    assert desk.show.refused
    desk.file.write_text(RIG, encoding="utf-8")
    await desk.passes(1)
    assert desk.show.refused is None


async def test_an_editor_that_renames(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """When an editor replaces the file by renaming, the new file is adopted and nothing is rejected."""
    desk.file.unlink()
    await desk.passes(1)
    assert desk.show.refused is None
    other = desk.file.with_name("pit.toml.new")
    other.write_text(RIG + scene(9, "Encore"), encoding="utf-8")
    os.replace(other, desk.file)
    await desk.passes(1)
    assert 9 in desk.show.engine.state.compiled.scenes
    assert not any("refused" in said for said in desk.said)


async def test_a_file_that_is_still_being_written_is_left_alone(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """A file that is still growing is not read; once it stops it is, and nothing was rejected."""
    text = RIG + scene(9, "Encore")
    for end in range(100, len(text), 100):
        desk.file.write_text(text[:end], encoding="utf-8")
        await desk.passes(0.2)
    desk.file.write_text(text, encoding="utf-8")
    await desk.passes(1)
    assert 9 in desk.show.engine.state.compiled.scenes
    assert not any("refused" in said for said in desk.said)


async def test_a_touch_changes_nothing(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """After a new date, a comment or reordered keys nothing is reported, nothing is sent, and the show continues."""
    before = desk.show.revision
    os.utime(desk.file, ns=(1, 1))
    await desk.passes(1)
    desk.file.write_text("# a comment\n" + RIG, encoding="utf-8")
    await desk.passes(1)
    assert desk.show.revision == before
    assert (desk.said, desk.heard("Box 1")) == ([], [])


async def test_a_rig_of_many_scenes(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """An edit that adds sixty-four scenes is adopted while notes are held, and each scene can be recalled."""
    desk.play("Stage piano", "90 3C 40")
    desk.file.write_text(RIG + "".join(scene(number, f"Scene {number}") for number in range(10, 74)), encoding="utf-8")
    await desk.passes(1)
    assert len(desk.show.engine.state.compiled.scenes) == 67
    desk.play("Stage piano", "80 3C 40")
    assert desk.heard("Box 1") == ["90 3C 40", "80 3C 40"]
    assert all(desk.show.apply(RecallScene(number), "shell").done for number in range(10, 74))


async def test_a_scene_that_was_taken_out_plays_on(mock_clock: trio.testing.MockClock, desk: Desk) -> None:
    """A scene that was removed from the file plays until another is recalled, and that is reported."""
    head, _, rest = RIG.partition("[[scenes]]")
    desk.file.write_text(head + "[[scenes]]" + rest.partition("[[scenes]]")[2], encoding="utf-8")
    await desk.passes(1)
    assert any("scene 1 is no longer in it and keeps playing until another is recalled" in said for said in desk.said)
    desk.play("Stage piano", "90 3C 40")
    assert desk.heard("Box 1") == ["90 3C 40"]
    assert not desk.show.apply(RecallScene(1), "shell").done


async def test_a_fault_of_our_own_costs_one_edit(
    mock_clock: trio.testing.MockClock, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If adopting fails, the current rig keeps playing, the fault is reported, and the next edit is read."""
    with monkeypatch.context() as patch:
        patch.setattr(workshop_module, "adopt", lambda show, engine: 1 / 0)
        desk.file.write_text(RIG + scene(9, "Encore"), encoding="utf-8")
        await desk.passes(1)
    assert "a fault of Bayleaf itself" in str(desk.show.refused)
    desk.file.write_text(RIG + scene(8, "Encore"), encoding="utf-8")
    await desk.passes(1)
    assert 8 in desk.show.engine.state.compiled.scenes
    assert desk.show.refused is None
