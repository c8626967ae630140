"""What a file keeps when a new one takes its place: owner, group, mode and extended attributes (access lists)."""

import errno
import os
import stat
from pathlib import Path
from typing import Final

#: checksums of the content, which the system makes again itself
_OF_CONTENT: Final = frozenset(("security.ima", "security.evm"))


class AttributesLost(Exception):
    """The new file cannot have what the old one has; the text says what and why."""


def take_over(made: Path, old: Path) -> None:
    """Give a new file what the old one has. Raises AttributesLost and OSError."""
    was = old.stat()
    _keep_group(made, was)
    _keep_owner(made, was)
    _keep_extended(made, old)
    os.chmod(made, stat.S_IMODE(was.st_mode))  # last: a change of owner takes away parts of it


def open_to_editors(folder: Path, file: Path) -> None:
    """Let who may write a file write into a folder beside it, too. Another user's folder stays as it is."""
    was, facts = file.stat(), folder.stat()
    mode = 0o700 | 0o070 * bool(was.st_mode & stat.S_IWGRP) | 0o007 * bool(was.st_mode & stat.S_IWOTH)
    try:
        if (facts.st_uid, facts.st_gid) != (was.st_uid, was.st_gid):
            os.chown(folder, was.st_uid if _is_root() else -1, was.st_gid)
        if stat.S_IMODE(facts.st_mode) != mode:
            os.chmod(folder, mode)
    except PermissionError:
        return


def _is_root() -> bool:
    return os.geteuid() == 0


def _keep_group(made: Path, was: os.stat_result) -> None:
    if made.stat().st_gid == was.st_gid:
        return
    try:
        os.chown(made, -1, was.st_gid)
    except PermissionError:
        group = _group(was.st_gid)
        raise AttributesLost(
            f"its group {group} cannot be kept, since you are not in it; join it, or change the file's group (chgrp)"
        ) from None


def _keep_owner(made: Path, was: os.stat_result) -> None:
    """Only root can give a file to another user. Without that the former owner must still be able to use it."""
    if made.stat().st_uid == was.st_uid:
        return
    try:
        os.chown(made, was.st_uid, -1)
    except PermissionError:
        owner = was.st_mode >> 6 & 0o7
        left = was.st_mode >> 3 & 0o7 if was.st_gid in _groups_of(was.st_uid) else was.st_mode & 0o7
        if owner & ~left & 0o6:
            raise AttributesLost(
                f"it would become yours, and {_user(was.st_uid)} could no longer use it; give it a group that you both "
                "are in, with the right to write (chgrp, chmod g+w)"
            ) from None


def _keep_extended(made: Path, old: Path) -> None:
    wanted, there = _extended(old), _extended(made)
    for name in there.keys() - wanted.keys():
        os.removexattr(made, name)  # an access list that the folder gives to new files
    for name, value in wanted.items():
        if there.get(name) == value:
            continue
        try:
            os.setxattr(made, name, value)
        except OSError as fault:
            raise AttributesLost(f"its extended attribute {name} cannot be kept: {fault.strerror}") from None


def _extended(path: Path) -> dict[str, bytes]:
    """The extended attributes that a new content does not change; none on systems without them."""
    if not hasattr(os, "listxattr"):
        return {}
    try:
        names = os.listxattr(path)
    except OSError as fault:
        if fault.errno in (errno.ENOTSUP, errno.EOPNOTSUPP):
            return {}
        raise
    return {name: os.getxattr(path, name) for name in names if name not in _OF_CONTENT}


# Names of users and groups


def _user(number: int) -> str:
    import pwd

    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return f"user {number}"


def _group(number: int) -> str:
    import grp

    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _groups_of(user: int) -> list[int]:
    import pwd

    try:
        found = pwd.getpwuid(user)
    except KeyError:
        return []
    return os.getgrouplist(found.pw_name, found.pw_gid)
