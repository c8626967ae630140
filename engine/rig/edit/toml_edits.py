"""Edits of single parts of a TOML text that leave everything around them untouched.

All work is done by offsets in the text: whatever is not edited stays as it is, byte for byte. tomlkit would rewrite the
whole document, bring together [[scenes]] that have another section between them, and move the comments of list
elements; it is used only to write new values.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any, Final

import tomlkit

from engine.rig.read.toml_layout import Path, Span, blanks_end, layout_of
from engine.rig.read.toml_text import parsed

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_REST: Final = re.compile(r"[ \t\r]*(?:#[^\n]*)?")
_SHORT: Final = 100  # characters in a line of a table


class EditError(Exception):
    """An edit cannot be made; the text says why, where, and what to do, in one sentence."""


@dataclass(frozen=True)
class Block:
    """An element of a [[section]] with all its contents, as offsets.

    `lead` includes the comments directly above its head, `end` those directly below its last line.
    """

    lead: int
    head: Span
    start: int  # start of the line of the head
    last: int  # end of its last line with content
    end: int


class Sheet:
    """A TOML text with its data and their places in the text. Raises TomlError."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.data = parsed(text)
        self._layout = layout_of(text)

    def line(self, path: Path) -> int:
        """The line of a value or section, from 1."""
        heads = dict(self._layout.headers)
        start = self._layout.values[path][0] if path in self._layout.values else heads[path][0]
        return self.text.count("\n", 0, start) + 1

    def value(self, path: Path) -> Span:
        """The place of a value. Raises KeyError if it is not written as one value."""
        return self._layout.values[path]

    def has_value(self, path: Path) -> bool:
        """Whether this is written as KEY = VALUE or as the element of a list, not as a [section]."""
        return path in self._layout.values

    def has_key(self, path: Path) -> bool:
        """Whether there is such a key, however it is written."""
        data: Any = self.data
        for key in path:
            if isinstance(data, dict) and key not in data:
                return False
            data = data[key]
        return True

    def has_header(self, path: Path) -> bool:
        """Whether this is written as a [section]."""
        return any(path == head for head, _ in self._layout.headers)

    def heads(self, path: Path) -> list[tuple[Path, Span]]:
        """The heads of this table and of what is in it, each with its path and place."""
        return [(head, span) for head, span in self._layout.headers if head[: len(path)] == path]

    def key(self, path: Path) -> Span | None:
        """The place of the key of a KEY = VALUE, if it is written as one."""
        if path not in self._layout.pairs:
            return None
        start, value = self._layout.pairs[path][0], self._layout.values[path][0]
        return start, start + len(self.text[start:value].rstrip().removesuffix("=").rstrip())

    def pairs(self, table: Path) -> list[tuple[int, int, str]]:
        """The places of the KEY = VALUE that a table has itself, in the order of the text, each with its key."""
        own = ((path, span) for path, span in self._layout.pairs.items() if path[:-1] == table)
        return sorted((*span, str(path[-1])) for path, span in own)

    def line_end(self, at: int) -> int:
        """The offset after the end of this line."""
        return _line_end(self.text, at)

    def blocks(self, section: Path) -> list[Block]:
        """The elements written as [[section]], in order. Raises EditError if another section splits one of them."""
        headers = self._layout.headers
        made = []
        for place, (path, _) in enumerate(headers):
            if path[:-1] == section and isinstance(path[-1], int):
                made.append(self._block(path, place))
        return made

    def block(self, path: Path, *, last: bool = False) -> Block | None:
        """The first [section] of this table or of what is in it, or the last; None if it has none."""
        found = [(place, head) for place, (head, _) in enumerate(self._layout.headers) if head[: len(path)] == path]
        return self._block(found[-1 if last else 0][1], found[-1 if last else 0][0], path) if found else None

    def sections(self) -> Iterator[tuple[str, Block]]:
        """All [sections], each with the key of the rig that it is in."""
        for place, (head, _) in enumerate(self._layout.headers):
            yield str(head[0]), self._block(head, place, head[:1])

    def _block(self, path: Path, place: int, within: Path = ()) -> Block:
        headers = self._layout.headers
        after = place + 1
        while after < len(headers) and headers[after][0][: len(path)] == path:
            after += 1
        for far, (start, _) in headers[after:]:
            if far[: len(path)] == path and not within:
                raise EditError(
                    f"line {self._line_at(start)} continues what begins in line {self.line(path)}, "
                    "with another section between them; move the two together in the file first"
                )
        head = headers[place][1]
        begins = line_start(self.text, head[0])
        following = line_start(self.text, headers[after][1][0]) if after < len(headers) else len(self.text)
        said = [span[1] for _, span in headers[place:after]]
        said += [end for start, end in self._layout.pairs.values() if head[0] < start < following]
        last = _line_end(self.text, max(said))
        lead = comments_above(self.text, begins, self._said_before(begins))
        return Block(lead, head, begins, last, _comments_below(self.text, last, following))

    def _said_before(self, offset: int) -> int:
        """The end of the last line with content before this offset."""
        ends = [end for start, end in self._layout.pairs.values() if start < offset]
        ends += [end for _, (start, end) in self._layout.headers if start < offset]
        return _line_end(self.text, max(ends)) if ends else 0

    def _line_at(self, offset: int) -> int:
        return self.text.count("\n", 0, offset) + 1

    def without(self, block: Block) -> str:
        """The text without a block and the empty lines above it."""
        above = self.text[: block.lead]
        floor = self._said_before(block.start)
        kept = above[:floor] + _without_empty_end(above[floor:])
        below = self.text[block.end :]
        return kept + below if below or self.text.endswith("\n") else kept.removesuffix("\n")

    # Keys

    def with_value(self, path: Path, written: str) -> str:
        """The text with a new value in this place."""
        return _put(self.text, self.value(path), written)

    def with_pair(self, table: Path, key: str, written: str) -> str:
        """The text with another key in a table, after its last one."""
        if self.has_value(table):
            start, end = self.value(table)
            inner = self.text[start + 1 : end - 1]
            comma = ", " if inner.strip() else " "
            return _put(self.text, (start + 1, end - 1), f"{inner.rstrip()}{comma}{_key(key)} = {written} ")
        headers = self._layout.headers
        place = [path for path, _ in headers].index(table)
        head = headers[place][1]
        following = headers[place + 1][1][0] if place + 1 < len(headers) else len(self.text)
        said = [head[1], *(end for start, end in self._layout.pairs.values() if head[0] < start < following)]
        return insert_lines(self.text, _line_end(self.text, max(said)), f"{_key(key)} = {written}\n")

    def without_pair(self, path: Path) -> str:
        """The text without a KEY = VALUE: without its lines in a section, without its comma in a table on one line."""
        text, (start, end) = self.text, self._layout.pairs[path]
        if not self.has_value(path[:-1]):
            return text[: line_start(text, start)] + text[_line_end(text, end) :]
        comma = blanks_end(text, end)
        if text[comma] == ",":
            return text[:start] + text[comma + 1 :].lstrip(" \t")
        before = [span[1] for span in self.pairs(path[:-1]) if span[1] <= start]  # its comma goes, too
        return text[: max(before)] + text[end:] if before else text[:start] + text[end:].lstrip(" \t")

    # Lists

    def without_element(self, array: Path, index: int) -> str:
        """The text without one element of a list; comments are kept."""
        text, (start, end) = self.text, self.value((*array, index))
        comma = blanks_end(text, end)
        if text[comma] != ",":
            return self._without_last(array, index)
        if "#" in text[end:comma]:  # there is a comment between the element and its comma
            return text[:start] + text[end:comma] + text[comma + 1 :]
        rest = comma + 1
        while text[rest] in " \t":
            rest += 1
        line = line_start(text, start)
        if text[rest] in "\r\n" and not text[line:start].strip():
            return text[:line] + text[_line_end(text, rest) :]
        return text[:start] + text[rest:]

    def _without_last(self, array: Path, index: int) -> str:
        text, (start, end) = self.text, self.value((*array, index))
        if index == 0:
            return text[:start] + text[end:]
        before = self.value((*array, index - 1))[1]
        comma = blanks_end(text, before)
        between = text[comma + 1 : start]
        kept = between.rstrip(" \t") if "#" in between else ""
        return text[:before] + text[before:comma] + kept + text[end:]

    def with_element(self, array: Path, index: int, written: str, *, lines: bool) -> str:
        """The text with an element added to a list before the one at `index`; `lines`: in an empty list, on its own
        line."""
        text = self.text
        start, end = self.value(array)
        if (*array, 0) not in self._layout.values:
            if "\n" in text[start:end]:
                return insert_lines(text, line_start(text, end), f"  {written},\n")
            return _put(text, (start, end), f"[\n  {written},\n]" if lines else f"[{written}]")
        if index == 0:
            first = self.value((*array, 0))[0]
            indent = text[line_start(text, first) : first]
            return text[:first] + written + "," + (" " if indent.strip() else "\n" + indent) + text[first:]
        return self._with_element_behind(array, index - 1, written)

    def _with_element_behind(self, array: Path, index: int, written: str) -> str:
        text, (start, end) = self.text, self.value((*array, index))
        comma = blanks_end(text, end)
        behind, closing = comma + 1, ","
        if text[comma] != ",":
            text, behind, closing = text[:end] + "," + text[end:], end + 1, ""
        rest = _REST.match(text, behind)
        line_end = rest.end() if rest else behind
        line = text[line_start(text, start) : start]
        if text[line_end] == "\n":
            indent = line[: len(line) - len(line.lstrip())]
            return text[:line_end] + f"\n{indent}{written}," + text[line_end:]
        return text[:behind] + f" {written}{closing}" + text[behind:]


def changes(olds: Sequence[Any], news: Sequence[Any]) -> list[tuple[str, int, int]]:
    """The steps from `olds` to `news`, last place first: ("put" | "add" | "drop", place in olds, place in news).

    "add" means before that place of olds; several for one place come in the order that keeps news in order.
    """
    kinds: list[Any] = []

    def kind(item: Any) -> int:
        if item not in kinds:
            kinds.append(item)
        return kinds.index(item)

    steps = []
    matcher = SequenceMatcher(None, [kind(item) for item in olds], [kind(item) for item in news], autojunk=False)
    for _, old, old_end, new, new_end in (code for code in matcher.get_opcodes() if code[0] != "equal"):
        both = min(old_end - old, new_end - new)
        steps += [("put", old + place, new + place) for place in range(both)]
        steps += [("drop", place, 0) for place in range(old + both, old_end)]
        steps += [("add", old_end, place) for place in range(new + both, new_end)]
    return steps[::-1]


def insert_lines(text: str, at: int, lines: str) -> str:
    """Insert whole lines at the start of a line, or at the end of a text whose last line may lack its line end."""
    if at == len(text) and text and not text.endswith("\n"):
        return text + "\n" + lines.removesuffix("\n")
    return text[:at] + lines + text[at:]


def _put(text: str, span: Span, written: str) -> str:
    return text[: span[0]] + written + text[span[1] :]


def line_start(text: str, at: int) -> int:
    """The offset of the start of this line."""
    return text.rfind("\n", 0, at) + 1


def _line_end(text: str, at: int) -> int:
    """The offset after the end of this line."""
    return text.find("\n", at) + 1 or len(text)


def comments_above(text: str, start: int, floor: int) -> int:
    """The start of the comments directly above a line, but not above `floor`."""
    while start > floor:
        above = line_start(text, start - 1)
        if not text[above:start].lstrip().startswith("#"):
            break
        start = above
    return start


def _comments_below(text: str, end: int, following: int) -> int:
    """The end of the comments directly below; comments directly above the next section belong to that section."""
    below = end
    while below < following and text[below : _line_end(text, below)].lstrip().startswith("#"):
        below = _line_end(text, below)
    return end if below == following < len(text) else below


def _without_empty_end(text: str) -> str:
    lines = text.splitlines(keepends=True)
    while lines and not lines[-1].strip():
        lines.pop()
    return "".join(lines)


# Writing


def toml(value: Any) -> str:
    """A value as TOML on one line. Raises EditError for a kind of value that TOML does not have."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return tomlkit.string(value).as_string()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        inner = ", ".join(f"{_key(key)} = {toml(item)}" for key, item in value.items() if item is not None)
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml, value)) + "]"
    raise EditError(f"a rig file cannot hold {value!r}; give text, numbers, true, false, lists or tables")


def _key(key: object) -> str:
    name = str(key)
    return name if _BARE.fullmatch(name) else tomlkit.string(name).as_string()


def key_path(path: Path) -> str:
    """The keys of a path as the head of a [section] has them; places in lists are left out."""
    return ".".join(_key(each) for each in path if isinstance(each, str))


def listed(items: Sequence[str]) -> str:
    """A list, written with a line for each element."""
    return "[\n" + "".join(f"  {item},\n" for item in items) + "]" if items else "[]"


def table(head: str, keys: dict[str, Any], *, by_line: Sequence[str] = ()) -> str:
    """A table, written with a line for each key. Lists in `by_line`, and lists too long for a line, get a line for each
    element."""
    width = max(map(len, keys), default=0)
    lines = [f"{head}\n"]
    for key, value in keys.items():
        if value is None:
            continue
        written = toml(value)
        if isinstance(value, list | tuple) and (key in by_line or len(written) > _SHORT):
            written = listed([toml(item) for item in value])
        lines.append(f"{_key(key):{width}} = {written}\n")
    return "".join(lines)
