"""What a TOML text may hold: its length, the length and the parts of a key, levels of tables, the size of numbers.

The parser knows no such limits: a key of 8,000 parts in 16 KB takes it 259 MB. A rig needs a small part of each.
"""

import re
from typing import Any, Final

from engine.rig.models.values import LONGEST_NAME
from engine.rig.read.toml_errors import TomlError

LONGEST_TEXT: Final = 4_000_000  # bytes of UTF-8
_MOST_PARTS: Final = 64  # of a dotted key; a rig has about six
_DEEPEST: Final = 64  # levels of nested lists and tables; a rig has about ten
_WHOLE: Final = range(-(1 << 63), 1 << 63)  # source: TOML v1.0.0, "Integer"

_PART: Final = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')[ \t]*+"""
# Strings and comments are passed over as a whole, closed or not, so that no character is looked at again and again.
_TOKEN: Final = re.compile(
    rf"(?P<deep>{_PART}(?:\.[ \t]*+{_PART}){{{_MOST_PARTS}}})"
    r'|"""(?:[^\\]|\\.)*?(?:"{3,5}|\Z)'
    r"|'''.*?(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|(?P<word>[A-Za-z0-9_-]++)",
    re.DOTALL,
)


def check_text(text: str) -> None:
    """Raise TomlError for a text that the parser must not see."""
    if len(text) > LONGEST_TEXT or len(text.encode(errors="surrogatepass")) > LONGEST_TEXT:
        raise TomlError(1, "", f"the text is longer than {LONGEST_TEXT // 1_000_000} MB; a rig is far shorter")
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "deep":
            line = text.count("\n", 0, token.start()) + 1
            raise TomlError(line, "", f"a key has more than {_MOST_PARTS} parts; write it as nested tables")
        if token.lastgroup == "word" and token.end() - token.start() > LONGEST_NAME:
            line = text.count("\n", 0, token.start()) + 1
            raise TomlError(line, "", f"this is not a rig: a key or a number has more than {LONGEST_NAME:,} characters")


def check_data(text: str, data: dict[str, Any]) -> None:
    """Raise TomlError for data that is nested too deeply, or holds a long key or a whole number of more than 64 bits.

    `text`: what the data were read from.
    """
    _check(text, data, _DEEPEST)


def _check(text: str, found: Any, levels: int) -> None:
    if isinstance(found, int) and found not in _WHOLE:
        raise TomlError(1, "", "this is not a rig: a number in it has too many digits")
    if not isinstance(found, dict | list):
        return
    if not levels:
        raise TomlError(1, "", "this is not a rig: lists or tables are nested too deeply")
    for key in found if isinstance(found, dict) else ():
        if len(key) > LONGEST_NAME:
            line = text.count("\n", 0, max(0, text.find(key))) + 1  # the first one, if it is written with escapes
            raise TomlError(line, "", f"a name has more than {LONGEST_NAME:,} characters; give it a shorter one")
    for each in found.values() if isinstance(found, dict) else found:
        _check(text, each, levels - 1)
