"""Where a machine's certificate, its key, and the certificate of the rig's authority are.

Each machine has a folder, FOLDER/MACHINE, with `authority.pem`, `MACHINE.pem` and `MACHINE.key`. It is to be copied to
that machine.
"""

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from shlex import quote

from engine.rig.models.network import Network


@dataclass(frozen=True)
class Keyring:
    """The paths of one machine's files."""

    authority: Path
    certificate: Path
    key: Path


def folder_of(network: Network, rig_file: Path) -> Path:
    """The folder that holds the folders of all machines."""
    return rig_file.parent / (network.keys or f"{rig_file.stem}.keys")


def keyring_in(folder: Path, machine: str) -> Keyring:
    """A machine's files, whether they exist or not."""
    own = folder / machine
    return Keyring(own / "authority.pem", own / f"{machine}.pem", own / f"{machine}.key")


def others_can_read(key: Path) -> str | None:
    """A warning for the player if other users of this computer can read this key; None if not, or if it is missing."""
    try:
        shared = os.name == "posix" and stat.S_IMODE(key.stat().st_mode) & 0o077
    except OSError:
        return None
    return (
        f"other users of this computer can read or change {key}; end that with: chmod 600 {quote(str(key))}"
        if shared
        else None
    )
