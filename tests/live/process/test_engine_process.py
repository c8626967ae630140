"""One engine from start to end, on ports in memory. (Our own design; standards named where used.)"""

import contextlib
import errno
import os
import shutil
import signal
import tempfile
import tomllib
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from signal import Signals
from typing import Any

import pytest
import trio

from engine.core.cable.silencing_messages import SWEEP, WHEELS
from engine.core.control.setlist import ShowPosition
from engine.live.port_opening import SamePort
from engine.live.process.engine_process import EngineProcess
from engine.live.process.instance_lock import NameTaken, claim_socket
from engine.live.process.last_scene import read_last, state_file, write_last
from engine.live.socket import client
from engine.ports.memory import MemoryInput, MemorySystem
from engine.rig.models.rig import rig_model
from tests.support.in_music_loop import in_music_loop
from tests.support.players_rig import PLAYERS
from tests.support.small_show import RIG
from tests.support.waiting import eventually

BURST = ["B4 00 00", "B4 20 03", "C4 0B"]


@pytest.fixture(autouse=True)
def folders(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The test's own folders for socket and state; the paths are short, since a socket's path may have 107 bytes."""
    folder = Path(tempfile.mkdtemp(prefix="bl"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder / "run"))
    monkeypatch.setenv("XDG_STATE_HOME", str(folder / "state"))
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def system() -> MemorySystem:
    """Two keyboards and two synths."""
    return MemorySystem("pit", ("Stage piano", "Foot controller"), ("Box 1", "Box 2"))


def last_scene() -> int | str | None:
    """The scene that the engine would start with."""
    last = read_last(state_file("pit"), Path("pit.toml"))
    return last[""].scene if last else None


class Evening:
    """One run of the engine named pit."""

    def __init__(
        self, system: MemorySystem, rig: str = RIG, rig_file: Path = Path("pit.toml"), virtual: bool = False
    ) -> None:
        self.system = system
        self.said: list[str] = []
        self.stage = EngineProcess(
            rig_model().model_validate(tomllib.loads(rig)), rig, rig_file, "pit", virtual, self.said.append
        )

    @contextlib.asynccontextmanager
    async def played(self, end: Signals = signal.SIGTERM) -> AsyncIterator[Any]:
        """From the first message to the signal that ends the run; `said` holds what was reported to the player."""
        with trio.fail_after(60):
            async with trio.open_nursery() as nursery:
                nursery.start_soon(self.stage.run, self.system)
                await eventually(lambda: any(text.startswith("playing") for text in self.said))
                yield self
                signal.raise_signal(end)

    def heard(self, output: str) -> list[str]:
        return [message.hex(" ").upper() for _, message in self.system.output(output).sent]


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGINT])
@in_music_loop
async def test_an_evening(system: MemorySystem, end: Signals) -> None:
    """The first scene is recalled, what is played comes out, and at the end every note and pedal is released."""
    async with Evening(system).played(end) as evening:
        assert evening.heard("Box 1") == BURST
        assert evening.said == ["scene 1 Overture", 'playing "Lantern Street pit band" as pit; stop with Ctrl-C']
        system.input("Stage piano").push(bytes.fromhex("90 3C 40 B0 40 7F"))
        await eventually(lambda: len(evening.heard("Box 1")) == 5)
    assert evening.heard("Box 1") == [*BURST, "90 3C 40", "B0 40 7F", "80 3C 40", "B0 40 00"]
    assert evening.said[-1] == "stopped; every note and pedal released (1 note, 1 pedal or wheel)"
    assert not client.socket_path("pit").exists()


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGINT])
@in_music_loop
async def test_a_signal_while_the_ports_are_being_opened(
    system: MemorySystem, monkeypatch: pytest.MonkeyPatch, end: Signals
) -> None:
    """As soon as the socket is there, a signal ends the engine properly: nothing is lost, nothing left behind."""
    opened = system.open_input

    def interrupted(pattern: str) -> MemoryInput:
        assert client.socket_path("pit").exists()
        signal.raise_signal(end)
        return opened(pattern)

    monkeypatch.setattr(system, "open_input", interrupted)
    with trio.fail_after(60):
        await Evening(system).stage.run(system)
    assert not client.socket_path("pit").exists()


@in_music_loop
async def test_the_last_scene_is_recalled_the_next_evening(system: MemorySystem) -> None:
    """start = "last": the scene in force at the end is the scene of the next start, for the same rig file."""
    async with Evening(system).played() as evening:
        answer = await trio.to_thread.run_sync(client.ask, "pit", {"do": "scene", "scene": 2})
        assert answer["done"]
    assert last_scene() == 2
    again = MemorySystem("pit", ("Stage piano", "Foot controller"), ("Box 1", "Box 2"))
    async with Evening(again).played() as evening:
        assert evening.said[0] == "scene 2 March"


@in_music_loop
async def test_a_last_scene_that_is_gone_is_the_first(system: MemorySystem) -> None:
    """If the rig file no longer has the last scene, its first scene is recalled."""
    write_last(state_file("pit"), Path("pit.toml"), {"": ShowPosition(99)})
    async with Evening(system).played() as evening:
        assert evening.said[0] == "scene 1 Overture"


@in_music_loop
async def test_a_start_scene_of_its_own(system: MemorySystem) -> None:
    """start = NAME recalls that scene whatever the last one was."""
    write_last(state_file("pit"), Path("pit.toml"), {"": ShowPosition(2)})
    rig = RIG.replace('name = "Lantern Street pit band"', 'name = "Lantern Street pit band"\nstart = "Finale"')
    async with Evening(system, rig).played() as evening:
        assert evening.said[0] == "scene 3 Finale"


@in_music_loop
async def test_a_full_disk_is_reported_and_the_show_goes_on(
    system: MemorySystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A last scene that cannot be written is reported; once there is room, it is written at the end."""
    async with Evening(system).played() as evening:
        await eventually(state_file("pit").exists)
        with monkeypatch.context() as patch:

            def full(*_: Path) -> None:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

            patch.setattr(os, "replace", full)
            await trio.to_thread.run_sync(client.ask, "pit", {"do": "scene", "scene": 2})
            await eventually(lambda: len(evening.said) > 2)
        assert evening.said[2].startswith("the last scene could not be written down (No space left on device")
        assert last_scene() == 1
        system.input("Stage piano").push(b"\x90\x3c\x40")
        await eventually(lambda: "90 3C 40" in evening.heard("Box 2"))
    assert last_scene() == 2


@in_music_loop
async def test_a_missing_port_is_reported_and_the_rest_plays() -> None:
    """A missing port is reported at the start; everything else plays."""
    system = MemorySystem("pit", ("Stage piano", "Foot controller"), ("Box 2",))
    async with Evening(system).played() as evening:
        assert evening.said[0].startswith("outputs.strings is missing: ")
        await trio.to_thread.run_sync(client.ask, "pit", {"do": "scene", "scene": 2})
        system.input("Stage piano").push(b"\x90\x3c\x40")
        await eventually(lambda: evening.heard("Box 2"))
        status = (await trio.to_thread.run_sync(client.ask, "pit", {"do": "status"}))["status"]
        assert [port["state"] for port in status["outputs"]] == ["missing", "open"]


@in_music_loop
async def test_a_pulled_input_lets_go_of_its_notes(system: MemorySystem) -> None:
    """When a keyboard is unplugged, its notes are released and the rest plays on."""
    async with Evening(system).played() as evening:
        system.input("Stage piano").push(b"\x90\x3c\x40")
        await eventually(lambda: "90 3C 40" in evening.heard("Box 1"))
        system.input("Stage piano").unplug()
        await eventually(lambda: "80 3C 40" in evening.heard("Box 1"))
        system.input("Foot controller").push(b"\xc0\x00")
        await eventually(lambda: evening.heard("Box 1")[-3:] == BURST and len(evening.heard("Box 1")) == 8)


@in_music_loop
async def test_a_second_engine_of_the_name_does_not_start(system: MemorySystem) -> None:
    """While another engine has the name, no port is opened and the other engine keeps its socket."""
    claim = claim_socket("pit")
    with contextlib.closing(claim.listener), claim.lock:
        evening = Evening(system)
        with pytest.raises(NameTaken, match='an engine named "pit" is running'):
            await evening.stage.run(system)
        assert claim.path.exists()
    assert (evening.said, evening.heard("Box 1")) == ([], [])


@in_music_loop
async def test_two_names_for_one_port_are_refused(system: MemorySystem) -> None:
    """A rig with two outputs on one port does not start, and leaves no socket behind."""
    evening = Evening(system, RIG.replace("Box 2", "Box 1"))
    with pytest.raises(SamePort, match='"strings" and "brass" both lead to the port "Box 1"; name it once'):
        await evening.stage.run(system)
    assert not client.socket_path("pit").exists()


@in_music_loop
async def test_after_a_crash_everything_is_silenced_first(system: MemorySystem) -> None:
    """A leftover socket means a crash: outputs are silenced and put to rest before the burst."""
    write_last(state_file("pit"), Path("pit.toml"), {"": ShowPosition(1)})
    left = claim_socket("pit")
    left.listener.close()  # as the system closes it when a process is killed
    left.lock.close()
    assert left.path.exists()
    async with Evening(system).played() as evening:
        sweep = [message.hex(" ").upper() for message in (*SWEEP, *WHEELS)]
        assert evening.heard("Box 1") == [*sweep, *BURST]
        assert evening.heard("Box 2") == sweep
        crash = "the last engine named pit was not shut down cleanly"
        assert evening.said[0] == f"{crash}; every output was silenced first"
    again = MemorySystem("pit", ("Stage piano", "Foot controller"), ("Box 1", "Box 2"))
    async with Evening(again).played() as evening:
        assert evening.heard("Box 1") == BURST  # the run before ended properly


@in_music_loop
async def test_an_edit_is_adopted_on_the_stage(system: MemorySystem, tmp_path: Path) -> None:
    """A running engine follows its rig file: a scene added to the file can be recalled."""
    file = tmp_path / "pit.toml"
    file.write_text(RIG, encoding="utf-8")
    async with Evening(system, rig_file=file).played() as evening:
        file.write_text(RIG + '\n[[scenes]]\nnumber = 9\nname = "Encore"\n', encoding="utf-8")
        await eventually(lambda: any("now playing the new version" in text for text in evening.said))
        answer = await trio.to_thread.run_sync(client.ask, "pit", {"do": "scene", "scene": "Encore"})
        assert answer["scene"] == [9, "Encore"]


@in_music_loop
async def test_a_pulled_output_comes_back_on_the_stage(system: MemorySystem) -> None:
    """An output that is unplugged and plugged in again is reopened without a restart, and gets the scene."""
    async with Evening(system).played() as evening:
        system.unplug("Box 1")
        await eventually(lambda: any("was unplugged" in text for text in evening.said))
        system.plug("Box 1")
        await eventually(lambda: evening.heard("Box 1")[-3:] == BURST)


@pytest.fixture
def pit() -> MemorySystem:
    """The ports of a rig with players."""
    return MemorySystem("pit", ("Stage piano", "Anna's keys", "Anna's pedals", "Ben's keys"), ("Box 1", "Box 2"))


@in_music_loop
async def test_each_player_begins_where_they_were(pit: MemorySystem) -> None:
    """At first with the first scene of their set list; the next evening with their last one, and from there on."""
    async with Evening(pit, PLAYERS).played() as evening:
        assert evening.said[:3] == ["scene 1 Overture", "anna: scene 21 Fanfare", "ben: scene 31 Tremolo"]
        answer = await trio.to_thread.run_sync(client.ask, "pit", {"do": "next", "player": "anna"})
        assert (answer["done"], answer["scene"]) == (True, [22, "Lament"])
        refused = await trio.to_thread.run_sync(client.ask, "pit", {"do": "scene", "scene": 31, "player": "anna"})
        assert (refused["done"], refused["code"]) == (False, "not-possible")
    async with Evening(pit, PLAYERS).played() as evening:
        assert evening.said[:3] == ["scene 1 Overture", "anna: scene 22 Lament", "ben: scene 31 Tremolo"]


@in_music_loop
async def test_all_players_begin_their_set_lists(pit: MemorySystem) -> None:
    """The rest of the rig does, too, wherever the scene is in the file."""
    rig = PLAYERS.replace("scenes = [1, 2]", "scenes = [2, 1]")
    async with Evening(pit, rig).played() as evening:
        assert evening.said[:3] == ["scene 2 Street", "anna: scene 21 Fanfare", "ben: scene 31 Tremolo"]
