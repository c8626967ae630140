"""Renames that overwrite nothing unseen. Source: renameat2(2)."""

import errno
import os
from pathlib import Path

import pytest

from engine import renames


@pytest.fixture(params=["this system", "without renameat2", "without links"])
def _system(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """A system with all that is needed, one without the system call, and a memory stick, which has no links either."""
    if request.param != "this system":
        monkeypatch.setattr(renames, "_CALL", None)
    if request.param == "without links":

        def refused(*_: object) -> None:
            raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

        monkeypatch.setattr(os, "link", refused)


@pytest.mark.usefixtures("_system")
def test_a_free_name_is_taken(tmp_path: Path) -> None:
    """A name that nothing has is given to the file, which has its old name no more."""
    (tmp_path / "made").write_text("whole")
    renames.rename_new(tmp_path / "made", tmp_path / "name")
    assert [(each.name, each.read_text()) for each in tmp_path.iterdir()] == [("name", "whole")]


@pytest.mark.usefixtures("_system")
@pytest.mark.parametrize("taken", ["file", "folder", "link"])
def test_a_name_that_is_taken_is_left_alone(tmp_path: Path, taken: str) -> None:
    """Neither a file nor a folder nor a dangling link is overwritten or followed."""
    made, name = tmp_path / "made", tmp_path / "name"
    made.write_text("whole")
    if taken == "file":
        name.write_text("precious")
    elif taken == "folder":
        name.mkdir()
    else:
        name.symlink_to(tmp_path / "nowhere")
    before = os.lstat(name)
    with pytest.raises(FileExistsError):
        renames.rename_new(made, name)
    assert os.lstat(name).st_ino == before.st_ino
    assert made.read_text() == "whole"
    assert not (tmp_path / "nowhere").exists()


def test_two_files_change_places(tmp_path: Path) -> None:
    """Each file has the other's name, in one step; a file that is not there is an error."""
    first, second = tmp_path / "first", tmp_path / "second"
    first.write_text("1")
    second.write_text("2")
    assert renames.exchange(first, second)
    assert (first.read_text(), second.read_text()) == ("2", "1")
    with pytest.raises(FileNotFoundError):
        renames.exchange(first, tmp_path / "third")


def test_where_files_cannot_be_exchanged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the system call nothing is changed, and the caller learns that."""
    monkeypatch.setattr(renames, "_CALL", None)
    (tmp_path / "first").write_text("1")
    (tmp_path / "second").write_text("2")
    assert not renames.exchange(tmp_path / "first", tmp_path / "second")
    assert (tmp_path / "first").read_text() == "1"
