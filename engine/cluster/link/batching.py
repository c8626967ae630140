"""Packs several messages into one network message, as each costs about 50 µs to send and receive, whatever its size.

A bundle holds messages whose keys share a folder. Its own key is that folder and `/+`, which cannot be a name, since
names are percent-encoded in keys.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from engine.core.varint import Packer, Unpacker

_LAST: Final = "/+"
_MOST: Final = 2_000  # messages of a bundle
_LARGEST: Final = 65_536  # bytes, about


def key_of(folder: str) -> str:
    """The key of a folder's bundles."""
    return folder + _LAST


def is_bundle(key: str) -> bool:
    """Whether this is the key of a bundle."""
    return key.endswith(_LAST)


def packs(said: Sequence[tuple[str, bytes]]) -> Iterator[bytes]:
    """Bundles of messages, (key, payload) each, all of one folder, in this order.

    A bundle has no more messages and bytes than another machine accepts, unless one message alone has more.
    """
    packer, count = Packer(), 0
    for key, payload in said:
        if count and (count == _MOST or len(packer.data) + len(payload) > _LARGEST):
            yield bytes(packer.data)
            packer, count = Packer(), 0
        packer.octets(key.rpartition("/")[2].encode())
        packer.octets(payload)
        count += 1
    if count:
        yield bytes(packer.data)


def unpack(key: str, bundle: bytes) -> list[tuple[str, bytes]]:
    """The messages of a bundle. Raises ValueError if it is not one."""
    folder, unpacker = key.removesuffix(_LAST), Unpacker(bundle)
    found: list[tuple[str, bytes]] = []
    size = 0
    while unpacker.more:
        name, payload = unpacker.octets().decode(), unpacker.octets()
        size += len(payload)
        if len(found) == _MOST or (found and size > _LARGEST):
            raise ValueError("there is more than can be sent together")
        found.append((f"{folder}/{name}", payload))
    return found
