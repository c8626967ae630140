"""A rig file that two users edit: whoever saves it, the other can go on. (POSIX chown, chmod; root only.)"""

import grp
import os
import pwd
import shutil
import struct
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from engine.rig.edit.versions import RigVersions, SaveError
from tests.support.needed import need

# what a save needs of Python is loaded while Python's own folder can be read
"".encode("utf-8-sig")
grp.getgrall()

ANNA, BEN, BAND, OTHER = 12345, 12346, 12400, 12401
NOBODY = 0xFFFFFFFF


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder in which both may work; pytest's own lie below one that only its user may enter."""
    if os.geteuid() != 0:
        need("root, who can act for two users")
    made = Path(tempfile.mkdtemp(prefix="bl"))
    os.chown(made, ANNA, BAND)
    made.chmod(0o770)
    yield made
    shutil.rmtree(made)


@pytest.fixture
def _band(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system knows both, and both are in the band."""
    known = {ANNA: "anna", BEN: "ben"}
    monkeypatch.setattr(
        pwd, "getpwuid", lambda number: pwd.struct_passwd((known[number], "x", number, number, "", "/", "/bin/sh"))
    )
    monkeypatch.setattr(os, "getgrouplist", lambda name, group: [group, BAND])


def rig(folder: Path, mode: int = 0o660, owner: int = ANNA, group: int = BAND) -> Path:
    file = folder / "pit.toml"
    file.write_text("one\n")
    os.chown(file, owner, group)
    file.chmod(mode)
    return file


def as_user(user: int, groups: list[int], call: Callable[[], object]) -> str:
    """Do this as another user, whose own group has the user's number; the error's text, empty if there was none."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.setgroups(groups)
        os.setgid(user)
        os.setuid(user)
        try:
            call()
            said = ""
        except Exception as fault:  # it is handed on
            said = f"{type(fault).__name__}: {fault}"
        os.write(writing, said.encode())
        os._exit(0)
    os.close(writing)
    with open(reading, encoding="utf-8") as pipe:
        said = pipe.read()
    os.waitpid(child, 0)
    return said


def saved(file: Path, text: str, before: str) -> Callable[[], object]:
    return lambda: RigVersions(file).save(text, before)


@pytest.mark.usefixtures("_band")
def test_each_of_two_editors_can_save_after_the_other(folder: Path) -> None:
    """The file keeps group and mode, and both can save it, look at its versions and go back."""
    file = rig(folder)
    assert as_user(ANNA, [BAND], saved(file, "two\n", "one\n")) == ""
    assert as_user(BEN, [BAND], saved(file, "three\n", "two\n")) == ""
    facts = file.stat()
    assert (facts.st_gid, facts.st_mode & 0o777, file.read_text()) == (BAND, 0o660, "three\n")
    assert as_user(ANNA, [BAND], saved(file, "four\n", "three\n")) == ""
    assert {each.stat().st_gid for each in file.with_name(".pit.toml.versions").iterdir()} == {BAND}
    kept = RigVersions(file)
    assert [kept.text(each.number) for each in kept.list()] == ["three\n", "two\n", "one\n"]


def test_versions_of_a_file_that_is_not_shared_are_not(folder: Path) -> None:
    """Only who may write the file may look into the folder of its versions."""
    file = rig(folder, mode=0o640)
    assert as_user(ANNA, [BAND], saved(file, "two\n", "one\n")) == ""
    assert file.with_name(".pit.toml.versions").stat().st_mode & 0o777 == 0o700


def test_a_group_that_cannot_be_kept(folder: Path) -> None:
    """Who is not in the file's group cannot save it: the file stays as it is, and the sentence names the group."""
    file = rig(folder, owner=BEN, group=OTHER)
    said = as_user(BEN, [BAND], saved(file, "two\n", "one\n"))
    reason = f"its group {OTHER} cannot be kept, since you are not in it; join it, or change the file's group (chgrp)"
    assert said == f"SaveError: {file} is unchanged: {reason}"
    assert (file.read_text(), os.listdir(folder)) == ("one\n", ["pit.toml"])


def test_a_text_is_kept_all_the_same(folder: Path) -> None:
    """Edits that were not saved are kept as a version even if the file's group cannot be; nobody else may read them."""
    file = rig(folder, owner=BEN, group=OTHER)
    assert as_user(BEN, [BAND], lambda: RigVersions(file).keep("edited\n")) == ""
    (version,) = file.with_name(".pit.toml.versions").iterdir()
    assert (version.read_text(), version.stat().st_mode & 0o777) == ("edited\n", 0o600)


def test_access_lists_stay(folder: Path) -> None:
    """The file's own access list stays, and one that the folder gives to new files is not added (acl(5))."""

    def access_list(user: int) -> bytes:
        entries = ((1, 6, NOBODY), (2, 6, user), (4, 6, NOBODY), (0x10, 6, NOBODY), (0x20, 0, NOBODY))
        return struct.pack("<I", 2) + b"".join(struct.pack("<HHI", *entry) for entry in entries)

    file = rig(folder)
    os.setxattr(folder, "system.posix_acl_default", access_list(ANNA))
    RigVersions(file).save("two\n", "one\n")
    assert os.listxattr(file) == []
    os.setxattr(file, "system.posix_acl_access", access_list(BEN))
    RigVersions(file).save("three\n", "two\n")
    assert os.getxattr(file, "system.posix_acl_access") == access_list(BEN)


def test_a_file_is_not_taken_away_from_its_owner(folder: Path) -> None:
    """Who can only write through the group does not save a file whose owner is not in that group."""
    file = rig(folder)
    said = as_user(BEN, [BAND], saved(file, "two\n", "one\n"))
    assert said.startswith(
        f"SaveError: {file} is unchanged: it would become yours, and user {ANNA} could no longer use it"
    )
    file.chmod(0o666)
    assert as_user(BEN, [BAND], saved(file, "two\n", "one\n")) == ""


def test_root_gives_the_file_back(folder: Path) -> None:
    """What root saves belongs to whom it belonged."""
    file = rig(folder)
    with pytest.raises(SaveError):
        RigVersions(file).save("two\n", "zero\n")
    RigVersions(file).save("two\n", "one\n")
    versions = file.with_name(".pit.toml.versions")
    assert {(each.stat().st_uid, each.stat().st_gid) for each in (file, versions, *versions.iterdir())} == {
        (ANNA, BAND)
    }
