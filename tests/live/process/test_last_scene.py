"""What an engine remembers from one start to the next: its last scene. (Our own file; no outside source.)"""

import errno
import json
import os
import threading
from pathlib import Path
from typing import Any

import pytest
import trio

from engine.core.control.setlist import ShowPosition
from engine.live.process import last_scene
from engine.live.process.last_scene import LastSceneWriter, read_last, set_aside, state_file, write_last


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """Where the state goes; its folder does not exist yet."""
    return tmp_path / "state" / "bayleaf.json"


def write(path: Path, rig: Path, number: int) -> None:
    """Write this scene down, at a place of a set list."""
    write_last(path, rig, {"": ShowPosition(number, "Friday", number % 5)})


def last(path: Path, rig: Path) -> int | None:
    """The scene that was written down, with its place; None if there is none."""
    standing = read_last(path, rig).get("")
    assert standing is None or standing == ShowPosition(standing.scene, "Friday", standing.scene % 5)
    return standing and standing.scene


def test_the_state_lies_in_the_players_state_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each engine's state is a file named after it below XDG_STATE_HOME."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_file("pit") == tmp_path / "bayleaf" / "pit.json"


def test_the_last_scene_is_read_back(state: Path, tmp_path: Path) -> None:
    """The scene written last is read back, and the folder holds nothing else."""
    rig = tmp_path / "pit.toml"
    assert last(state, rig) is None
    for number in (11, 12):
        write(state, rig, number)
    assert last(state, rig) == 12
    assert os.listdir(state.parent) == ["bayleaf.json"]


def test_two_rigs_are_remembered_apart(state: Path, tmp_path: Path) -> None:
    """Two rig files played under one engine name each keep their own last scene."""
    write(state, tmp_path / "pit.toml", 11)
    write(state, tmp_path / "concert.toml", 3)
    assert last(state, tmp_path / "pit.toml") == 11
    assert last(state, tmp_path / "concert.toml") == 3


def test_a_rig_is_the_same_by_any_path(state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A rig file named by a relative path is the same one as by its full path."""
    write(state, tmp_path / "pit.toml", 11)
    monkeypatch.chdir(tmp_path)
    assert last(state, Path("pit.toml")) == 11


@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_a_full_disk_leaves_the_old_state(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """If writing fails at any step, the error is raised, the old state stays and no partial file is left."""
    rig = tmp_path / "pit.toml"
    write(state, rig, 11)

    def full(*_: int | Path) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space left"):
        write(state, rig, 12)
    assert last(state, rig) == 11
    assert os.listdir(state.parent) == ["bayleaf.json"]


def test_the_new_state_is_whole_before_it_takes_the_old_ones_place(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the rename the new file is complete on disk, so a crash leaves either the old state or the new."""
    rig = tmp_path / "pit.toml"
    write(state, rig, 11)
    steps: list[object] = []
    fsync, replace = os.fsync, os.replace

    def watched_replace(source: Path, target: Path) -> None:
        steps.append(("replace", last(Path(source), rig), last(Path(target), rig)))
        replace(source, target)

    def watched_fsync(handle: int) -> None:
        steps.append("fsync")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", watched_fsync)
    monkeypatch.setattr(os, "replace", watched_replace)
    write(state, rig, 12)
    assert steps == ["fsync", ("replace", 12, 11), "fsync"]


@pytest.mark.parametrize(
    "garbage",
    [
        b"",
        b"\x00" * 40,
        b"\xff\xfe",
        b'{"format": 2, "shows": {',
        b"[]",
        b"null",
        b"[" * 100_000,
        b'{"shows": null}',
        b'{"shows": [1, 2]}',
        b'{"shows": "eleven"}',
    ],
)
def test_a_damaged_state_is_kept_aside(state: Path, tmp_path: Path, garbage: bytes) -> None:
    """A state file that is damaged gives no last scene; the next scene begins a new one, and it is kept beside that."""
    rig = tmp_path / "pit.toml"
    state.parent.mkdir()
    state.write_bytes(garbage)
    assert last(state, rig) is None
    assert write_last(state, rig, {"": ShowPosition(12, "Friday", 2)}) == (
        f"{state} is damaged; it is kept as bayleaf.json.kept-1, and the last scenes in it are not used"
    )
    assert last(state, rig) == 12
    assert (state.parent / "bayleaf.json.kept-1").read_bytes() == garbage
    assert write_last(state, rig, {"": ShowPosition(11, "Friday", 1)}) is None


def test_a_newer_state_is_kept_aside(state: Path, tmp_path: Path) -> None:
    """A state of a newer format is not overwritten by an older Bayleaf, however often one starts."""
    newer = json.dumps({"format": 3, "shows": {"concert.toml": {"stacks": []}}})
    state.parent.mkdir()
    for number in (1, 2):
        state.write_text(newer)
        told: list[str] = []
        assert LastSceneWriter(state, tmp_path / "pit.toml", told.append).last() == {}
        assert len(told) == 1
        assert f"was written by a newer Bayleaf (format 3); it is kept as bayleaf.json.kept-{number}" in told[0]
        assert (state.parent / f"bayleaf.json.kept-{number}").read_text() == newer
        assert not state.exists()


def test_a_state_that_may_not_be_read_is_kept_aside(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A state that the disk or the system does not give out is kept as well (EIO: POSIX)."""
    rig = tmp_path / "pit.toml"
    write(state, rig, 11)

    def broken(*_: object, **__: object) -> str:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_text", broken)
        kept = set_aside(state)
    assert kept is not None
    assert "cannot be read (Input/output error); it is kept as bayleaf.json.kept-1" in kept
    write(state, rig, 12)
    assert last(state.parent / "bayleaf.json.kept-1", rig) == 11


def test_a_state_that_cannot_be_kept_aside_is_not_overwritten(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If a damaged state cannot get another name, it stays, and writing raises the error."""
    state.parent.mkdir()
    state.write_text("half")

    def refused(*_: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(last_scene, "rename_new", refused)
    with pytest.raises(PermissionError):
        write(state, tmp_path / "pit.toml", 12)
    assert state.read_text() == "half"
    told: list[str] = []
    assert LastSceneWriter(state, tmp_path / "pit.toml", told.append).last() == {}
    assert told == [f"the last scene could not be read (Permission denied: {state})"]


@pytest.mark.parametrize(
    "value",
    ["12", 12, None, [12], [12, "Friday"], ["12", "Friday", 2], [True, "Friday", 2], [12, None, 2], [12, "", 2.0]],
)
def test_a_scene_that_is_no_number_is_forgotten(state: Path, tmp_path: Path, value: Any) -> None:
    """An entry counts only with a scene number, set list and place; another rig's entry survives the next write."""
    rig, other = tmp_path / "pit.toml", tmp_path / "concert.toml"
    state.parent.mkdir()
    state.write_text(json.dumps({"format": 2, "shows": {str(rig): value, str(other): [3, "Friday", 3]}}))
    assert last(state, rig) is None
    assert last(state, other) == 3
    write(state, rig, 12)
    assert (last(state, rig), last(state, other)) == (12, 3)


def test_places_that_are_not_understood_stay(state: Path, tmp_path: Path) -> None:
    """What another version of Bayleaf has noted about another rig is in the file after the next write, too."""
    state.parent.mkdir()
    state.write_text(json.dumps({"format": 2, "shows": {"concert.toml": [3, "Friday", 3, "anna"]}}))
    write(state, tmp_path / "pit.toml", 12)
    assert json.loads(state.read_text())["shows"]["concert.toml"] == [3, "Friday", 3, "anna"]


def test_a_folder_in_the_files_place_is_reported(state: Path, tmp_path: Path) -> None:
    """A state that cannot be read gives no last scene; one that cannot be written raises OSError."""
    state.mkdir(parents=True)
    assert last(state, tmp_path / "pit.toml") is None
    with pytest.raises(OSError, match="directory"):
        write(state, tmp_path / "pit.toml", 1)
    assert os.listdir(state.parent) == ["bayleaf.json"]


async def test_a_scene_recalled_as_the_show_ends_is_written_down(state: Path, tmp_path: Path) -> None:
    """The task that writes may be cancelled before its thread begins; the position waits for the last try."""
    writer = LastSceneWriter(state, tmp_path / "pit.toml", lambda text: None)
    writer.note({"": ShowPosition(12, "Friday", 2)})
    with trio.CancelScope() as scope:
        scope.cancel()
        await writer.write()
    await writer.write()
    assert last(state, tmp_path / "pit.toml") == 12


async def test_a_slow_disk_has_one_writer_at_a_time(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last try begins once the one that was abandoned is through: they write to one temporary file."""
    under_way, most, go_on = [0], [0], threading.Event()

    def slow(*given: Any) -> None:
        under_way[0] += 1
        most[0] = max(most[0], under_way[0])
        go_on.wait()
        under_way[0] -= 1
        write_last(*given)

    monkeypatch.setattr(last_scene, "write_last", slow)
    writer = LastSceneWriter(state, tmp_path / "pit.toml", lambda text: None)
    writer.note({"": ShowPosition(12, "Friday", 2)})
    with trio.move_on_after(0.05):
        await writer.write()
    async with trio.open_nursery() as nursery:
        nursery.start_soon(writer.write)
        await trio.sleep(0.1)
        go_on.set()
    assert most == [1]
    assert last(state, tmp_path / "pit.toml") == 12


def test_each_player_has_a_place_of_their_own(state: Path, tmp_path: Path) -> None:
    """Players are beside the shows, where earlier versions pass them over; a rig without players takes none away."""
    rig, other = tmp_path / "pit.toml", tmp_path / "other.toml"
    positions = {"": ShowPosition(1, "Pit", 0), "anna": ShowPosition(22, "Anna, act 1", 1, "", -2)}
    write_last(state, rig, positions)
    write_last(state, other, {"": ShowPosition(3)})
    assert read_last(state, rig) == positions
    assert read_last(state, other) == {"": ShowPosition(3)}
    assert sorted(json.loads(state.read_bytes())["shows"]) == sorted(map(str, (rig, other)))


def test_the_rest_of_the_rig_may_have_no_place(state: Path, tmp_path: Path) -> None:
    """Every scene may be a player's; a place that makes no sense is left out."""
    rig = tmp_path / "pit.toml"
    write_last(state, rig, {"anna": ShowPosition(22)})
    assert read_last(state, rig) == {"anna": ShowPosition(22)}
    state.write_text(json.dumps({"format": 2, "shows": {}, "players": {str(rig): {"anna": [1], "ben": [31, "", 0]}}}))
    assert read_last(state, rig) == {"ben": ShowPosition(31, "", 0)}
    state.write_text(json.dumps({"format": 2, "shows": {}, "players": 7}))
    assert read_last(state, rig) == {}
