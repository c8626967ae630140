"""Packs several messages into one network message, as each costs about 50 µs to send and receive, whatever its size.

A bundle holds messages whose keys share a folder. Its own key is that folder and `/+`, which cannot be a name, since
names are percent-encoded in keys.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from engine.core.varint import Packer, Unpacker

_LAST: Final = "/+"


def key_of(folder: str) -> str:
    """The key of a folder's bundles."""
    return folder + _LAST


def is_bundle(key: str) -> bool:
    """Whether this is the key of a bundle."""
    return key.endswith(_LAST)


def pack(said: Sequence[tuple[str, bytes]]) -> bytes:
    """One bundle of messages, (key, payload) each, all of one folder, in this order."""
    packer = Packer()
    for key, payload in said:
        packer.octets(key.rpartition("/")[2].encode())
        packer.octets(payload)
    return bytes(packer.data)


def unpack(key: str, bundle: bytes) -> Iterator[tuple[str, bytes]]:
    """The messages of a bundle. Raises ValueError if it is not one."""
    folder, unpacker = key.removesuffix(_LAST), Unpacker(bundle)
    while unpacker.more:
        name = unpacker.octets().decode()
        yield f"{folder}/{name}", unpacker.octets()
