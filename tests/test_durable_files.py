"""Files that are written whole or not at all (POSIX rename, fsync)."""

import errno
import os
import stat
from pathlib import Path

import pytest

from engine import durable_files


def test_a_file_is_replaced_whole_and_its_folder_made(tmp_path: Path) -> None:
    """The new content replaces the old, whatever a crash left of an earlier attempt."""
    path = tmp_path / "state" / "show.json"
    durable_files.replace(path, b"one")
    path.with_name(".show.json.new").write_bytes(b"half")
    durable_files.replace(path, b"two")
    assert path.read_bytes() == b"two"
    assert os.listdir(path.parent) == ["show.json"]


def test_a_secret_is_never_readable_for_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With mode 0600 even the temporary file cannot be read by others."""
    modes: list[int] = []
    fsync = os.fsync

    def seen(handle: int) -> None:
        modes.append(stat.S_IMODE(os.fstat(handle).st_mode))
        fsync(handle)

    monkeypatch.setattr(os, "fsync", seen)
    durable_files.replace(tmp_path / "tokens.json", b"{}", 0o600)
    assert modes[0] == 0o600
    assert stat.S_IMODE((tmp_path / "tokens.json").stat().st_mode) == 0o600


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_file_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Whichever step fails, the error is raised, the old content stays and no temporary file is left."""
    path = tmp_path / "show.json"
    durable_files.replace(path, b"one")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space left"):
        durable_files.replace(path, b"two")
    assert path.read_bytes() == b"one"
    assert os.listdir(tmp_path) == ["show.json"]


def test_a_folder_that_cannot_be_flushed_is_no_error(tmp_path: Path) -> None:
    """Some file systems cannot flush a folder; the file has its name all the same."""
    durable_files.flush_folder(tmp_path / "missing")


def test_a_new_file_has_its_name_only_when_it_is_whole(tmp_path: Path) -> None:
    """Until the end nothing has the name; then the whole file has it, with the usual mode, and nothing else is left."""
    path = tmp_path / "kept.mid"
    with durable_files.new(path) as file:
        file.write(b"whole")
        assert not path.exists()
    assert path.read_bytes() == b"whole"
    before = os.umask(0)
    os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~before
    assert os.listdir(tmp_path) == ["kept.mid"]


def test_a_new_file_that_fails_leaves_nothing(tmp_path: Path) -> None:
    """An error inside the block is raised, and no file is left."""

    def write() -> None:
        with durable_files.new(tmp_path / "kept.mid") as file:
            file.write(b"half")
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(OSError, match="No space left"):
        write()
    assert os.listdir(tmp_path) == []
