"""Saving a rig file safely. The rules are the project's own (README: operating); the steps are POSIX rename, fsync."""

import errno
import os
from pathlib import Path

import pytest

from engine.rig.versions import KEPT, SaveFault, Versions


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A file that holds "one"."""
    path = tmp_path / "pit.toml"
    path.write_text("one\n")
    return path


def test_undo_gives_the_version_before_and_can_be_undone(file: Path) -> None:
    """What was saved over comes back, and what that was saved over comes back too."""
    versions = Versions(file)
    versions.save("two\n", "one\n")
    assert versions.undo() == "one\n"
    versions.save("one\n", "two\n")
    assert versions.undo() == "two\n"


def test_a_file_changed_meanwhile_is_not_overwritten(file: Path) -> None:
    """A text that is not the expected one stays."""
    with pytest.raises(SaveFault, match="has changed on the disk"):
        Versions(file).save("two\n", "zero\n")
    assert file.read_text() == "one\n"


def test_the_oldest_versions_are_dropped(file: Path) -> None:
    """The last 50 are kept, newest first."""
    before = "one\n"
    for number in range(KEPT + 5):
        Versions(file).save(f"{number}\n", before)
        before = f"{number}\n"
    listed = Versions(file).list()
    assert (len(listed), listed[0].number) == (KEPT, KEPT + 5)


@pytest.mark.parametrize("call", ["fsync", "replace", "chmod"])
def test_a_disk_that_fails_leaves_the_old_file(file: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    """Whichever step fails, the file is as it was and no half-written one is left."""

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, call, full)
        with pytest.raises(SaveFault, match="No space left on device"):
            Versions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"
    assert not list(file.parent.glob(".*.saving"))


def test_line_ends_bom_mode_and_link_stay(tmp_path: Path, file: Path) -> None:
    """A save changes the text and nothing else about the file."""
    file.write_bytes(b"\xef\xbb\xbfone\r\n")
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    Versions(link).save("two\n", "one\n")
    assert (file.read_bytes(), file.stat().st_mode & 0o777, link.is_symlink()) == (
        b"\xef\xbb\xbftwo\r\n",
        0o640,
        True,
    )


def test_a_read_only_file_is_refused(file: Path) -> None:
    """A file nobody may write stays as it is."""
    file.chmod(0o444)
    with pytest.raises(SaveFault, match="read-only"):
        Versions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"
