"""Text as gear with a small display reads it: 7-bit letters, padded or cut to a width.

A letter beyond ASCII becomes its nearest (Unicode's compatibility decomposition without its accents), or "?". So no
text can end a SysEx early.
"""

import unicodedata
from functools import lru_cache
from typing import Final

_NEAREST: Final = {
    **dict.fromkeys("‘’‚′", "'"),
    **dict.fromkeys("“”„″«»", '"'),
    **dict.fromkeys("‐‑‒–—―−", "-"),
    "ß": "ss",
    "ẞ": "SS",
    "æ": "ae",
    "Æ": "AE",
    "œ": "oe",
    "Œ": "OE",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
    "đ": "d",
    "Đ": "D",
    "ð": "d",
    "Ð": "D",
    "þ": "th",
    "Þ": "Th",
    "ı": "i",
    "♯": "#",
    "♭": "b",
    "×": "x",
}
_BLANK: Final = " "


def seven_bit_text(text: str, width: int | None = None) -> bytes:
    """The text in bytes 20 to 7E; of exactly this many if a width is given."""
    found = "".join(map(_nearest, text))
    if width is not None:
        found = found[:width].ljust(width, _BLANK)
    return found.encode("ascii")


@lru_cache(1024)  # a display of the clock is made twenty times per second
def _nearest(letter: str) -> str:
    if letter in _NEAREST:
        return _NEAREST[letter]
    if letter.isspace():
        return _BLANK
    plain = "".join(each for each in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(each))
    return "".join(_NEAREST.get(each, each if " " <= each <= "~" else "?") for each in plain) or "?"
