"""Errors in a text that is not TOML, in a musician's words."""

import re
from typing import Final

_PLACE: Final = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")
_LOOKED_AT: Final = 200  # characters of a line, for its key; the pattern takes their square
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


class TomlError(Exception):
    """The text is not TOML."""

    def __init__(self, line: int, key: str, text: str) -> None:
        super().__init__(text)
        self.line = line  # from 1
        self.key = key  # "" if unknown
        self.text = text


def explained(text: str, said: str) -> TomlError:
    """What the parser said about a text, in our words."""
    place = _PLACE.search(said)
    line = int(place[1]) if place and place[1] else text.rstrip().count("\n") + 1
    plain = _PLACE.sub("", said)
    meaning = next((words for start, words in _MEANINGS if plain.startswith(start)), plain[:1].lower() + plain[1:])
    written = text.split("\n")[line - 1] if line <= text.count("\n") + 1 else ""
    found = _KEY.match(written[:_LOOKED_AT])
    return TomlError(line, (found[1] or found[2]) if found else "", f"this is not TOML: {meaning}")
