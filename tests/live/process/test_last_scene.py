"""What an engine remembers from one start to the next: its last scene. (Our own file; no outside source.)"""

import errno
import json
import os
from pathlib import Path
from typing import Any

import pytest

from engine.core.control.setlist import ShowPosition
from engine.live.process.last_scene import read_last, state_file, write_last


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """Where the state goes; its folder does not exist yet."""
    return tmp_path / "state" / "bayleaf.json"


def write(path: Path, rig: Path, number: int) -> None:
    """Write this scene down, at a place of a set list."""
    write_last(path, rig, ShowPosition(number, "Friday", number % 5))


def last(path: Path, rig: Path) -> int | None:
    """The scene that was written down, with its place; None if there is none."""
    standing = read_last(path, rig)
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
def test_garbage_counts_as_no_state(state: Path, tmp_path: Path, garbage: bytes) -> None:
    """A state file that is not ours gives no last scene, and the next scene replaces it."""
    rig = tmp_path / "pit.toml"
    state.parent.mkdir()
    state.write_bytes(garbage)
    assert last(state, rig) is None
    write(state, rig, 12)
    assert last(state, rig) == 12


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


def test_a_folder_in_the_files_place_is_told(state: Path, tmp_path: Path) -> None:
    """A state that cannot be read gives no last scene; one that cannot be written raises OSError."""
    state.mkdir(parents=True)
    assert last(state, tmp_path / "pit.toml") is None
    with pytest.raises(OSError, match="directory"):
        write(state, tmp_path / "pit.toml", 1)
    assert os.listdir(state.parent) == ["bayleaf.json"]
