"""Saving a rig file safely. The rules are the project's own (README: operating); the steps are POSIX rename, fsync."""

import errno
import json
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from engine import renames
from engine.rig.edit.versions import KEPT, RigVersions, SaveError
from tests.support.paths import process_of


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A file that holds "one"."""
    path = tmp_path / "pit.toml"
    path.write_text("one\n")
    return path


def test_undo_gives_the_version_before_and_can_be_undone(file: Path) -> None:
    """Undo brings back what a save replaced; another undo brings back what the first one replaced."""
    kept = RigVersions(file)
    kept.save("two\n", "one\n")
    assert kept.undo() == "one\n"
    kept.save("one\n", "two\n")
    assert kept.undo() == "two\n"


def test_a_link_that_is_turned_is_followed_to_where_it_leads_now(tmp_path: Path) -> None:
    """A link that was redirected is read and saved where it leads now; the file it led to before stays."""
    first, second, link = (tmp_path / name for name in ("first.toml", "second.toml", "tonight.toml"))
    first.write_text("one\n")
    second.write_text("two\n")
    link.symlink_to(first)
    kept = RigVersions(link)
    link.unlink()
    link.symlink_to(second)
    assert kept.present() == "two\n"
    kept.save("three\n", "two\n")
    assert (first.read_text(), second.read_text(), kept.undo()) == ("one\n", "three\n", "two\n")
    assert link.is_symlink()


def test_a_file_changed_meanwhile_is_not_overwritten(file: Path) -> None:
    """If the text is not the expected one, the file stays as it is."""
    with pytest.raises(SaveError, match="has changed on disk"):
        RigVersions(file).save("two\n", "zero\n")
    assert file.read_text() == "one\n"


def test_the_oldest_versions_are_dropped(file: Path) -> None:
    """The last 50 are kept, newest first."""
    before = "one\n"
    for number in range(KEPT + 5):
        RigVersions(file).save(f"{number}\n", before)
        before = f"{number}\n"
    listed = RigVersions(file).list()
    assert (len(listed), listed[0].number) == (KEPT, KEPT + 5)


@pytest.mark.parametrize(
    ("owner", "call"), [(os, "fsync"), (os, "chmod"), (os, "listxattr"), (renames, "exchange"), (os, "lstat")]
)
def test_a_disk_that_fails_leaves_the_old_file(
    file: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, call: str
) -> None:
    """Whichever step fails, the file is as it was and no half-written one is left."""

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(owner, call, full)
        with pytest.raises(SaveError, match="No space left on device"):
            RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"
    assert not list(file.parent.glob(".*.saving"))


def test_line_ends_bom_mode_and_link_stay(tmp_path: Path, file: Path) -> None:
    """A save changes the text and nothing else about the file."""
    file.write_bytes(b"\xef\xbb\xbfone\r\n")
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    RigVersions(link).save("two\n", "one\n")
    assert (file.read_bytes(), file.stat().st_mode & 0o777, link.is_symlink()) == (
        b"\xef\xbb\xbftwo\r\n",
        0o640,
        True,
    )


def test_a_read_only_file_is_refused(file: Path) -> None:
    """A read-only file stays as it is."""
    file.chmod(0o444)
    with pytest.raises(SaveError, match="read-only"):
        RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"


def driven(folder: Path, how: str) -> list[dict[str, Any]]:
    command = [*process_of("interrupted_save"), str(folder), how]
    done = subprocess.run(command, cwd=Path.cwd(), capture_output=True, text=True, timeout=200, check=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module", params=["kill", "fail"])
def saves(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """The results of saves that were killed before each line of the saving code, or failed at each system call."""
    return driven(tmp_path_factory.mktemp("saves"), request.param)


@pytest.mark.slow
def test_whatever_happens_the_file_is_the_old_one_or_the_new_one(saves: list[dict[str, Any]]) -> None:
    """Killed at any line or failed at any call, the file and its versions are whole texts, and no text is lost."""
    assert len(saves) > 40
    assert {save["holds"] for save in saves} == {"old", "new"}
    for save in saves:
        assert save["versions"] in (["old"], []) if save["holds"] == "old" else save["versions"] == ["old"]


@pytest.mark.slow
def test_what_is_said_is_true(saves: list[dict[str, Any]]) -> None:
    """A save that failed says so in one sentence, with the file, the reason, and whether the file is as it was."""
    for save in saves:
        if save["said"]:
            assert "pit.toml" in save["said"]
            assert "No space left" in save["said"]
            assert "\n" not in save["said"]
            assert ("is unchanged" in save["said"]) == (save["holds"] == "old")
            assert ("was written" in save["said"]) == (save["holds"] == "new")
        elif not save["killed"]:
            assert save["holds"] == "new"


@pytest.mark.slow
def test_the_next_save_works_and_cleans_up(saves: list[dict[str, Any]]) -> None:
    """After any such failure the next save succeeds, and removes what a killed one left half-written."""
    for save in saves:
        assert save["again"] == ""
        held = ["new", "old"] if save["holds"] == "new" else ["old"]
        assert save["afterwards"] == {"holds": "next", "versions": held, "unfinished": 0}
    assert any(save["unfinished"] for save in saves)  # it was tried


@pytest.mark.slow
def test_a_save_killed_at_any_moment_leaves_whole_texts(file: Path) -> None:
    """A process that saves repeatedly and is killed from outside leaves the file and every version whole."""
    texts = ["".join(f"{word} {line}\n" for line in range(2000)) for word in ("tick", "tock")]
    code = """
import itertools, pathlib, sys
from engine.rig.edit.versions import RigVersions
file = pathlib.Path(sys.argv[1])
texts = ["".join(f"{word} {line}\\n" for line in range(2000)) for word in ("tick", "tock")]
print("ready", flush=True)
for new in itertools.cycle(texts):
    RigVersions(file).save(new, file.read_text())
"""
    moments = random.Random(7)
    file.write_text(texts[1])
    for _ in range(25):
        with subprocess.Popen([sys.executable, "-c", code, str(file)], stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(moments.uniform(0, 0.06))  # at any moment
            child.kill()
        assert child.returncode == -signal.SIGKILL
        assert file.read_text() in texts
        kept = RigVersions(file)
        assert all(kept.text(each.number) in texts for each in kept.list())
    RigVersions(file).save("after\n", file.read_text())
    assert not list(file.parent.rglob("*.saving"))


def _no_more_than(size: int, action: signal.Handlers) -> Callable[[], None]:
    """A child's file may have this many bytes; one more ends the child (SIG_DFL) or fails (SIG_IGN)."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, action)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    return limit


@pytest.mark.slow
@pytest.mark.parametrize("action", [signal.SIG_DFL, signal.SIG_IGN], ids=["killed", "refused"])
def test_a_write_that_ends_half_way(file: Path, action: signal.Handlers) -> None:
    """If a save is killed or fails in the middle of the text (setrlimit, SIGXFSZ: POSIX), the old file is whole."""
    text = "two\n" * 50_000
    code = f"""
import signal, sys, pathlib
signal.signal(signal.SIGXFSZ, signal.{action.name})
from engine.rig.edit.versions import RigVersions
RigVersions(pathlib.Path(sys.argv[1])).save("two\\n" * 50_000, "one\\n")
"""
    command = [sys.executable, "-B", "-c", code, str(file)]
    limit = _no_more_than(100_000, action)
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False, preexec_fn=limit)
    if action is signal.SIG_DFL:
        assert done.returncode == -signal.SIGXFSZ
        assert [half.stat().st_size for half in file.parent.glob(".*.saving")] == [100_000]
    else:
        assert "Traceback (most recent call last):\n " in done.stderr
        assert not list(file.parent.rglob(".*.saving"))
    assert file.read_text() == "one\n"
    RigVersions(file).save(text, "one\n")
    assert file.read_text() == text
    assert not list(file.parent.rglob(".*.saving"))


@pytest.mark.parametrize("call", ["open", "mkdir"])
def test_a_read_only_folder(file: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    """If no file can be made in the folder, the file stays as it is, and the reason is reported (EACCES: POSIX)."""
    real = getattr(os, call)

    def refused(path: Any, *rest: Any, **more: Any) -> Any:
        if ".saving" in str(path) or call == "mkdir":
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path, *rest, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, call, refused)
        with pytest.raises(SaveError, match="is unchanged: Permission denied"):
            RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"


def test_a_file_written_while_it_is_saved_is_not_overwritten(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What another program writes between the first look at the file and the last stays."""
    real = os.fsync

    def another_writes(handle: int) -> None:
        real(handle)
        file.write_text("theirs\n")

    monkeypatch.setattr(os, "fsync", another_writes)
    with pytest.raises(SaveError, match="has changed on disk"):
        RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "theirs\n"


@pytest.mark.parametrize("again", [False, True])
def test_a_file_replaced_at_the_last_moment_is_not_overwritten(
    file: Path, monkeypatch: pytest.MonkeyPatch, again: bool
) -> None:
    """What another program puts there after the last look stays; if it puts two, neither text is lost."""
    real, calls = renames.exchange, []

    def another_writes(old: Path, new: Path) -> bool:
        calls.append(new)
        if len(calls) == 1 or again:
            theirs = file.with_name("theirs")
            theirs.write_text(f"theirs {len(calls)}\n")
            theirs.replace(file)
        return real(old, new)

    monkeypatch.setattr(renames, "exchange", another_writes)
    with pytest.raises(SaveError, match="has changed on disk"):
        RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "theirs 1\n"
    kept = RigVersions(file)
    texts = [kept.text(each.number) for each in kept.list()]
    assert texts == (["theirs 2\n", "one\n"] if again else ["one\n"])
    assert not list(file.parent.rglob("*.saving"))


@pytest.mark.parametrize("how", ["refused", "not done"])
def test_a_replaced_file_that_cannot_be_put_back_is_kept(file: Path, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """If the second exchange fails as well, the other program's text is the newest version, and the error says so."""
    real, calls = renames.exchange, []

    def another_writes(old: Path, new: Path) -> bool:
        calls.append(new)
        if len(calls) == 1:
            file.write_text("theirs\n")
            return real(old, new)
        if how == "refused":
            raise PermissionError(1, "Operation not permitted")
        return False

    monkeypatch.setattr(renames, "exchange", another_writes)
    with pytest.raises(SaveError, match="what that program wrote is the newest version"):
        RigVersions(file).save("two\n", "one\n")
    kept = RigVersions(file)
    assert (file.read_text(), kept.undo()) == ("two\n", "theirs\n")
    assert kept.text(kept.list()[1].number) == "one\n"


def test_a_file_that_appears_meanwhile_is_not_overwritten(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no file was, one that another program makes after the last look stays."""
    file.unlink()
    real = renames.rename_new

    def another_writes(old: Path, new: Path) -> None:
        file.write_text("theirs\n")
        real(old, new)

    monkeypatch.setattr(renames, "rename_new", another_writes)
    with pytest.raises(SaveError, match="File exists"):
        RigVersions(file).save("two\n", None)
    assert file.read_text() == "theirs\n"


def test_where_files_cannot_change_places_a_save_works(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a file system that cannot exchange files, the finished file is renamed as ever."""
    monkeypatch.setattr(renames, "exchange", lambda *_: False)
    RigVersions(file).save("two\n", "one\n")
    assert (file.read_text(), RigVersions(file).undo()) == ("two\n", "one\n")


def test_the_folder_is_synced_after_the_rename(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The text is on the disk before the rename, and the rename before save returns (POSIX fsync, rename)."""
    steps: list[str] = []
    sync, exchange = os.fsync, renames.exchange

    def synced(handle: int) -> None:
        steps.append("sync " + os.path.basename(os.readlink(f"/proc/self/fd/{handle}")))
        sync(handle)

    def renamed(old: Path, new: Path) -> bool:
        steps.append(f"rename to {new.name}")
        return exchange(old, new)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(renames, "exchange", renamed)
    RigVersions(file).save("two\n", "one\n")
    at = steps.index("rename to pit.toml")
    finished = next(step for step in steps if step.startswith("sync .pit.toml.") and step.endswith(".saving"))
    assert steps.index(finished) < at
    assert steps[at + 1] == f"sync {file.parent.name}"


def test_the_version_is_on_the_disk_before_the_file_changes(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut in a save loses neither text: the new folder of versions, then the version in it, have their names
    on the disk before the file is replaced (POSIX fsync: a name is in its folder)."""
    steps: list[str] = []
    sync, new, exchange = os.fsync, renames.rename_new, renames.exchange

    def synced(handle: int) -> None:
        steps.append("sync " + os.path.basename(os.readlink(f"/proc/self/fd/{handle}")))
        sync(handle)

    def named(old: Path, path: Path) -> None:
        steps.append(f"new {path.name}")
        new(old, path)

    def replaced(old: Path, path: Path) -> bool:
        steps.append(f"replace {path.name}")
        return exchange(old, path)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(renames, "rename_new", named)
    monkeypatch.setattr(renames, "exchange", replaced)
    RigVersions(file).save("two\n", "one\n")
    folder, versions = f"sync {file.parent.name}", "sync .pit.toml.versions"
    content = next(step for step in steps if step.startswith("sync .000001.toml."))
    order = [folder, content, "new 000001.toml", versions, "replace pit.toml"]
    assert [step for step in steps if step in order] == [*order, folder]


def test_a_text_is_kept_without_the_file(file: Path) -> None:
    """A text that is only kept is the newest version and what undo returns; the file stays."""
    RigVersions(file).keep("played\n")
    assert file.read_text() == "one\n"
    assert RigVersions(file).undo() == "played\n"


def test_a_text_is_kept_where_no_file_is(file: Path) -> None:
    """A text can be kept even if the file is gone, and this does not create the file."""
    file.unlink()
    assert RigVersions(file).keep("played\n") == 1
    assert RigVersions(file).present() is None
    assert RigVersions(file).undo() == "played\n"


def test_extended_attributes_stay(file: Path) -> None:
    """A save keeps what else the system or a program notes about the file, and adds nothing (xattr(7))."""
    os.setxattr(file, "user.origin", b"prompt book")
    RigVersions(file).save("two\n", "one\n")
    assert {name: os.getxattr(file, name) for name in os.listxattr(file)} == {"user.origin": b"prompt book"}


def test_an_attribute_that_cannot_be_kept(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If an extended attribute cannot be kept, the file stays as it is, and the sentence says which and why."""
    os.setxattr(file, "user.origin", b"prompt book")

    def refused(*_: object) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "setxattr", refused)
    text = r"is unchanged: its extended attribute user\.origin cannot be kept: Operation not permitted"
    with pytest.raises(SaveError, match=text):
        RigVersions(file).save("two\n", "one\n")
    assert file.read_text() == "one\n"
    assert os.listdir(file.parent) == ["pit.toml"]


def test_the_file_and_its_versions_stay_its_owners(file: Path) -> None:
    """If root saves another user's file, file, folder and versions belong to that user; others save only their own."""
    owner = 12345 if os.geteuid() == 0 else os.geteuid()
    os.chown(file, owner, -1)
    RigVersions(file).save("two\n", "one\n")
    folder = file.with_name(".pit.toml.versions")
    assert {path.stat().st_uid for path in (file, folder, *folder.iterdir())} == {owner}


@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_what_is_no_file_is_neither_waited_for_nor_read(tmp_path: Path, kind: str) -> None:
    """Whoever shares the folder can put anything in the rig's place: saving says so, and nothing hangs."""
    path = tmp_path / "pit.toml"
    if kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")
    kept = RigVersions(path)
    for attempt in (kept.present, partial(kept.save, "a", "b")):
        with pytest.raises(SaveError, match="is not a regular file"):
            attempt()
    assert kept.text(kept.keep("a")) == "a"
