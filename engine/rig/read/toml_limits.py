"""What a TOML text may hold: its length, the parts of a key, levels of tables, the size of whole numbers.

The parser knows no such limits: a key of 8,000 parts in 16 KB takes it 259 MB. A rig needs a small part of each.
"""

import re
from typing import Any, Final

from engine.rig.read.toml_errors import TomlError

LONGEST_TEXT: Final = 4_000_000  # bytes of UTF-8
_LONGEST_WORD: Final = 1000  # characters of a number or a key without quotes
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
        if token.lastgroup == "word" and token.end() - token.start() > _LONGEST_WORD:
            line = text.count("\n", 0, token.start()) + 1
            raise TomlError(line, "", f"this is not a rig: a key or a number has more than {_LONGEST_WORD} characters")


def check_data(data: dict[str, Any]) -> None:
    """Raise TomlError for data that is nested too deeply, or holds a whole number of more than 64 bits."""
    _check(data, _DEEPEST)


def _check(found: Any, levels: int) -> None:
    if isinstance(found, int) and found not in _WHOLE:
        raise TomlError(1, "", "this is not a rig: a number in it has too many digits")
    if not isinstance(found, dict | list):
        return
    if not levels:
        raise TomlError(1, "", "this is not a rig: lists or tables are nested too deeply")
    for each in found.values() if isinstance(found, dict) else found:
        _check(each, levels - 1)
