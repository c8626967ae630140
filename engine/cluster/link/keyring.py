"""Where a machine's certificate, its key, and the certificate of the rig's authority are.

Each machine has a folder, FOLDER/MACHINE, with `authority.pem`, `MACHINE.pem` and `MACHINE.key`. It is to be copied to
that machine.
"""

from dataclasses import dataclass
from pathlib import Path

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
