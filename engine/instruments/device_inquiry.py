"""The universal device inquiry, by which devices identify themselves (MIDI 1.0 p. 40; manufacturers' ids: p. 34)."""

from typing import Final, NamedTuple

from engine.midi.kinds import SYSEX, SYSEX_END, is_whole

ALL_DEVICES: Final = 0x7F
_UNIVERSAL: Final = 0x7E
_GENERAL: Final = 0x06
_ASK: Final = 0x01
_REPLY: Final = 0x02
_AFTER_MAKER: Final = 8  # family 2, member 2, version 4


class Identity(NamedTuple):
    """The identity of a device. `maker`: one byte, or three that begin with 00; family and member: 14 bits."""

    device: int
    maker: bytes
    family: int
    member: int
    version: bytes

    def plain(self) -> dict[str, str | int]:
        """For JSON and for the sidecar of a dump."""
        return {
            "device": f"{self.device:02X}",
            "manufacturer": self.maker.hex(" ").upper(),
            "family": self.family,
            "member": self.member,
            "version": self.version.hex(" ").upper(),
        }


def request(device: int = ALL_DEVICES) -> bytes:
    """The inquiry, to one device id (0 to 126) or to all."""
    return bytes((SYSEX, _UNIVERSAL, device, _GENERAL, _ASK, SYSEX_END))


def asks(message: bytes) -> bool:
    """Whether this is the inquiry itself: at an input, it means that the cable leads back."""
    return len(message) == 6 and message == request(message[2])


def read_reply(message: bytes) -> Identity | None:
    """The identity in a reply; None for any other or incomplete message."""
    if message[:2] != bytes((SYSEX, _UNIVERSAL)) or message[3:5] != bytes((_GENERAL, _REPLY)) or not is_whole(message):
        return None
    said = message[5:-1]
    width = 3 if said[:1] == b"\x00" else 1
    if len(said) != width + _AFTER_MAKER:
        return None
    maker, rest = said[:width], said[width:]
    return Identity(message[2], maker, rest[0] | rest[1] << 7, rest[2] | rest[3] << 7, rest[4:])
