"""The places of all keys, values and sections in a TOML file.

tomllib has already read the file, so it is known to be valid; this only walks over it and notes places, including those
of elements inside arrays and inline tables. It runs only when there is something to report or to edit.
"""

import re
import tomllib
from bisect import bisect_left
from typing import Final, NamedTuple

Path = tuple[str | int, ...]
Span = tuple[int, int]  # offsets in the text: the first character, and the one after the last

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_BASIC: Final = re.compile(r'"(?:[^"\\]|\\.)*"')
_LITERAL: Final = re.compile(r"'[^']*'")
_LONG_BASIC: Final = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL)
_LONG_LITERAL: Final = re.compile(r"'''.*?'{3,5}", re.DOTALL)
_PLAIN: Final = re.compile(r"[^,\]}\n#]+")


class Layout(NamedTuple):
    """Paths are as in the loaded data, indices from 0."""

    values: dict[Path, Span]  # every value, elements of arrays too
    pairs: dict[Path, Span]  # every KEY = VALUE, starting at its key
    headers: list[tuple[Path, Span]]  # every [section] and each element of a [[section]], in the order of the file


def layout_of(text: str) -> Layout:
    """The layout of a text that tomllib reads."""
    walk = _Walk(text)
    walk.document()
    return walk.layout


def blanks_end(text: str, at: int) -> int:
    """The offset after any blanks, line ends and comments that begin here."""
    match = _BLANK.match(text, at)
    assert match is not None  # the pattern also matches nothing
    return match.end()


def lines_of(text: str) -> dict[Path, int]:
    """The line (from 1) of every key and array element; paths are as in the loaded data, indices from 0."""
    walk = _Walk(text)
    walk.document()
    return walk.lines


def line_of(lines: dict[Path, int], path: Path) -> int:
    """The line of a path, or of the nearest part around it that is in the file."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


class _Walk:
    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        self.layout = Layout({}, {}, [])
        self._text = text
        self._ends = [match.start() for match in re.finditer("\n", text)]
        self._at = 0
        self._counts: dict[Path, int] = {}  # elements so far of each [[array of tables]]

    def document(self) -> None:
        table: Path = ()
        self._skip()
        while self._at < len(self._text):
            if self._text.startswith("[", self._at):
                table = self._header()
            else:
                self._pair(table)
            self._skip()

    def _header(self) -> Path:
        line, start = self._line(), self._at
        array = self._text.startswith("[[", self._at)
        self._at += 2 if array else 1
        keys = self._keys()
        self._at += 2 if array else 1
        path: Path = ()
        for index, key in enumerate(keys):
            path = (*path, key)
            self.lines.setdefault(path, line)
            if array and index == len(keys) - 1:
                self._counts[path] = self._counts.get(path, 0) + 1
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        self.lines[path] = line
        self.layout.headers.append((path, (start, self._at)))
        return path

    def _pair(self, table: Path) -> None:
        line, start = self._line(), self._at
        path = table
        for key in self._keys():
            path = (*path, key)
            self.lines.setdefault(path, line)
        self._skip()
        self._at += 1  # the equals sign
        self._skip()
        self._value(path)
        self.layout.pairs[path] = (start, self.layout.values[path][1])

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip()
            for pattern in (_BASIC, _LITERAL, _BARE):
                if match := pattern.match(self._text, self._at):
                    break
            else:
                raise ValueError("no key where TOML must have one")
            self._at = match.end()
            keys.append(_unquoted(match[0]))
            self._skip()
            if not self._text.startswith(".", self._at):
                return keys
            self._at += 1

    def _value(self, path: Path) -> None:
        start = self._at
        self._walk_value(path)
        end = start + len(self._text[start : self._at].rstrip())  # a plain value is read with the blanks after it
        self.layout.values[path] = (start, end)

    def _walk_value(self, path: Path) -> None:
        if self._text.startswith("[", self._at):
            self._array(path)
        elif self._text.startswith("{", self._at):
            self._inline_table(path)
        else:
            for pattern in (_LONG_BASIC, _LONG_LITERAL, _BASIC, _LITERAL, _PLAIN):
                if match := pattern.match(self._text, self._at):
                    self._at = match.end()
                    return

    def _array(self, path: Path) -> None:
        self._at += 1
        index = 0
        self._skip()
        while not self._text.startswith("]", self._at):
            element = (*path, index)
            self.lines[element] = self._line()
            self._value(element)
            self._comma()
            index += 1
        self._at += 1

    def _inline_table(self, path: Path) -> None:
        self._at += 1
        self._skip()
        while not self._text.startswith("}", self._at):
            self._pair(path)
            self._comma()
        self._at += 1

    def _comma(self) -> None:
        self._skip()
        if self._text.startswith(",", self._at):
            self._at += 1
            self._skip()

    def _skip(self) -> None:
        self._at = blanks_end(self._text, self._at)

    def _line(self) -> int:
        return bisect_left(self._ends, self._at) + 1


def _unquoted(key: str) -> str:
    if key.startswith('"'):
        return next(iter(tomllib.loads(f"{key} = 0")))
    return key[1:-1] if key.startswith("'") else key
