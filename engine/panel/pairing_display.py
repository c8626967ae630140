"""The terminal's display of addresses and pairing codes, also as QR codes for a phone's camera (ISO/IEC 18004)."""

import contextlib
import io
import socket
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

import segno

from engine.panel.paired_browsers import Role

_DOES: Final[dict[Role, str]] = {
    "operate": "see and operate",
    "show": "see and run the show",
    "view": "see, not operate",
}
#: the roles as players call them
ROLE_NAMES: Final[dict[Role, str]] = {"operate": "everything", "show": "show", "view": "look"}
#: an address for documentation (RFC 5737): nothing is sent there; the system names the address it would use
_ELSEWHERE: Final = ("192.0.2.1", 9)


def lan_addresses() -> list[str]:
    """This machine's IPv4 addresses as far as they are known, the most likely one to reach it first."""
    found = dict.fromkeys((*_outward(), *_by_name()))
    return [address for address in found if not address.startswith("127.")]


def _outward() -> Iterator[str]:
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(_ELSEWHERE)
        yield asked.getsockname()[0]


def _by_name() -> Iterator[str]:
    with contextlib.suppress(OSError):
        for *_, address in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_STREAM):
            yield str(address[0])


def pairing_text(role: Role, code: str, address: str | None) -> str:
    """A code as text and, with an address, as a QR code. It follows "#", so the browser does not send it on."""
    text = f"To pair a browser that may {_DOES[role]}, once: {code}"
    if address is None:
        return text
    picture = io.StringIO()
    segno.make(pairing_link(address, code), micro=False).terminal(picture, border=2, compact=True)
    return f"{text}\n{picture.getvalue()}"


def pairing_link(address: str, code: str) -> str:
    """What a phone's camera reads."""
    return f"{address}#{code}"


@lru_cache(maxsize=8)  # making one takes milliseconds, and browsers ask again and again
def pairing_squares(address: str, code: str) -> list[str]:
    """The QR code by rows, "1" for a dark square, without its border."""
    return ["".join("1" if square else "0" for square in row) for row in segno.make(pairing_link(address, code)).matrix]
