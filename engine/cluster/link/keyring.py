"""The files a machine shows to the others: its certificate, its key, and the authority that signed all of a rig's.

They lie in a folder for each machine, which can be carried there: in FOLDER/MACHINE, `authority.pem`, `MACHINE.pem` and
`MACHINE.key`.
"""

from dataclasses import dataclass
from pathlib import Path

from engine.rig.models.network import Network


@dataclass(frozen=True)
class Keyring:
    """Where a machine's files are."""

    authority: Path
    certificate: Path
    key: Path


def folder_of(network: Network, rig_file: Path) -> Path:
    """The folder that holds every machine's."""
    return rig_file.parent / (network.keys or f"{rig_file.stem}.keys")


def keyring_in(folder: Path, machine: str) -> Keyring:
    """A machine's files, there or not."""
    own = folder / machine
    return Keyring(own / "authority.pem", own / f"{machine}.pem", own / f"{machine}.key")
