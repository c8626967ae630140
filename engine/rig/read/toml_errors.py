"""Errors in a text that is not TOML, in a musician's words."""

import re
import tomllib
from typing import Any, Final

_PLACE: Final = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")
_KEY: Final = re.compile(r"\s*([^=\[{#]+?)\s*=|\s*\[+\s*([^\]#]+?)\s*\]")

# The beginning of what tomllib says, and what it means for the author.
_MEANINGS: Final = (
    ("Illegal character '\\n'", "the closing quote of a text is missing"),
    ("Unterminated string", "the closing quote of a text is missing"),
    ("Cannot overwrite a value", "this key is given a second time; keep one of the two"),
    ("Duplicate inline table key", "this key is given a second time; keep one of the two"),
    ("Cannot declare", "this section is given a second time; merge the two"),
    ("Cannot mutate immutable", "this section already ended further up; keep all of it in one place"),
    ("Invalid value", "found no value; allowed: a number, true, false, text in quotes, a list [ ] or a table { }"),
    ("Unclosed array", "a closing bracket of a list or table is missing, or a comma"),
    ("Unclosed inline table", "a table { } must be on one line, with commas between its keys and a } at its end"),
    (
        "Invalid initial character for a key part",
        "found no key; a table { } must be on one line, without a last comma",
    ),
    ("Expected newline or end of document", "found more after the value; write one key per line, and text in quotes"),
    ("Expected '='", 'found a key without a value; write KEY = VALUE, such as name = "Finale"'),
)
_DEEPEST: Final = 64  # levels of nested lists and tables; a rig has about ten


class TomlError(Exception):
    """The text is not TOML."""

    def __init__(self, line: int, key: str, text: str) -> None:
        super().__init__(text)
        self.line = line  # from 1
        self.key = key  # "" if unknown
        self.text = text


def parsed(text: str) -> dict[str, Any]:
    """The data in a TOML text. Raises TomlError."""
    try:
        data = tomllib.loads(text)
        _measure(data, _DEEPEST)
        return data
    except tomllib.TOMLDecodeError as fault:
        raise _explained(text, str(fault)) from None
    except RecursionError:
        raise TomlError(1, "", "this is not a rig: lists or tables are nested too deeply") from None
    except ValueError:  # Python's own limit, a few thousand digits
        raise TomlError(1, "", "this is not a rig: a number in it has too many digits") from None


def _measure(found: Any, deep: int) -> None:
    """Raise RecursionError for data that is nested too deeply for those who walk through it later."""
    if not deep:
        raise RecursionError
    for each in found.values() if isinstance(found, dict) else found if isinstance(found, list) else ():
        if isinstance(each, dict | list):
            _measure(each, deep - 1)


def _explained(text: str, said: str) -> TomlError:
    place = _PLACE.search(said)
    line = int(place[1]) if place and place[1] else text.rstrip().count("\n") + 1
    plain = _PLACE.sub("", said)
    meaning = next((words for start, words in _MEANINGS if plain.startswith(start)), plain[:1].lower() + plain[1:])
    written = text.split("\n")[line - 1] if line <= text.count("\n") + 1 else ""
    found = _KEY.match(written)
    return TomlError(line, (found[1] or found[2]) if found else "", f"this is not TOML: {meaning}")
