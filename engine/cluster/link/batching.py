"""Several messages of one folder of keys as one put: a put and its hearing cost some 50 µs, whatever is in them.

The key of a bundle is that of its folder and `/+`, which no name can be: names stand percent-encoded in keys.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from engine.core.varint import Packer, Unpacker

_LAST: Final = "/+"


def key_of(folder: str) -> str:
    """The key under which a folder's bundles are put."""
    return folder + _LAST


def is_bundle(key: str) -> bool:
    """Whether what is put under this key is a bundle."""
    return key.endswith(_LAST)


def pack(said: Sequence[tuple[str, bytes]]) -> bytes:
    """Messages as (key, payload), all of one folder, in their order."""
    packer = Packer()
    for key, payload in said:
        packer.octets(key.rpartition("/")[2].encode())
        packer.octets(payload)
    return bytes(packer.data)


def unpack(key: str, bundle: bytes) -> Iterator[tuple[str, bytes]]:
    """What was packed. Raises ValueError if it is nothing of the kind."""
    folder, unpacker = key.removesuffix(_LAST), Unpacker(bundle)
    while unpacker.more:
        name = unpacker.octets().decode()
        yield f"{folder}/{name}", unpacker.octets()
