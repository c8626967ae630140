"""Saves a file again and again; each time the save is killed, or fails, one step later.

    python -m tests.support.interrupted_save FOLDER kill|fail

A step is a line of the saving code (kill) or a system call it makes (fail). After each, a line on stdout says what was
found: what the file holds, how many versions can be read and what is kept, what the save printed, and what the next
save did.
"""

import errno
import json
import os
import shutil
import signal
import sys
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

from engine.rig.edit import file_attributes
from engine.rig.edit import versions as saving
from engine.rig.edit.versions import RigVersions, SaveError

OLD, NEW, NEXT = ("".join(f"{word} {line}\n" for line in range(4000)) for word in ("old", "new", "next"))
OWN = (saving.__file__, file_attributes.__file__, "tempfile.py", "pathlib.py")
CALLS = {"open", "mkdir", "fsync", "flush", "write", "read", "chmod", "replace", "rename", "unlink", "close", "access"}
CALLS |= {"stat", "lstat", "scandir", "listdir", "fdopen", "chown", "listxattr"}


def _is_own(code: CodeType) -> bool:
    return code.co_filename.endswith(OWN)


def kill_at(step: int) -> None:
    """Send SIGKILL before the line of this number, from 1."""
    count = 0

    def trace(frame: FrameType, event: str, _: object) -> Any:
        nonlocal count
        if frame.f_code.co_filename not in (saving.__file__, file_attributes.__file__):
            return None
        if event == "line":
            count += 1
            if count == step:
                os.kill(os.getpid(), signal.SIGKILL)
        return trace

    sys.settrace(trace)


def fail_at(step: int) -> None:
    """Let the system call of this number, from 1, find the disk full."""
    count = 0

    def profile(frame: FrameType, event: str, called: Any) -> None:
        nonlocal count
        if event == "c_call" and _is_own(frame.f_code) and called.__name__ in CALLS:
            count += 1
            if count == step:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    sys.setprofile(profile)


def save(file: Path, before: str, after: str) -> str:
    try:
        RigVersions(file).save(after, before)
    except SaveError as fault:
        return str(fault)
    return ""


def found(file: Path) -> dict[str, Any]:
    names = {OLD: "old", NEW: "new", NEXT: "next"}
    kept = RigVersions(file)
    return {
        "holds": names.get(file.read_text(), "something else"),
        "versions": [names.get(kept.text(each.number), "something else") for each in kept.list()],
        "unfinished": len(list(file.parent.rglob("*.saving"))),
    }


def one(folder: Path, how: str, step: int) -> bool:
    """One save in a child process, and its outcome; False if it ran to the end undisturbed."""
    file = folder / "pit.toml"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    file.write_text(OLD)
    said_in = folder.parent / "said"
    child = os.fork()
    if not child:
        (kill_at if how == "kill" else fail_at)(step)
        said = save(file, OLD, NEW)
        sys.settrace(None)
        sys.setprofile(None)
        said_in.write_text(said)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    after = found(file)
    killed = os.WIFSIGNALED(status)
    after |= {"killed": killed, "said": "" if killed else said_in.read_text()}
    again = save(file, OLD if after["holds"] == "old" else NEW, NEXT)
    print(json.dumps({**after, "again": again, "afterwards": found(file)}), flush=True)
    return killed or bool(after["said"])


if __name__ == "__main__":
    steps, quiet = 0, 0
    while quiet < (1 if sys.argv[2] == "kill" else 15):  # some failures are harmless: the folder's fsync, say
        steps += 1
        quiet = 0 if one(Path(sys.argv[1]) / "rig", sys.argv[2], steps) else quiet + 1
