"""How the command prints: tables for people, JSON for programs.

Nothing else in `engine/cli` prints (ruff's T20), so what a terminal would obey is taken out of all texts here.
"""

import json
import os
import re
import shutil
import signal
import sys
import textwrap
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.user_error import UserError

if TYPE_CHECKING:
    from rich.console import Console

_WORD: Final = 16  # letters; a longer word may be broken where there is no room
_BETWEEN: Final = 3  # letters between two columns
#: what a terminal obeys rather than shows (ECMA-48: the control functions C0 and C1, without tab and line feed), and
#: what makes text read in another order than it is written (Unicode, UAX #9)
_OBEYED: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_CLEAR_LINE: Final = "\r\033[K"


class CommandError(UserError):
    """The rig or the request is at fault; the text says what is wrong and what to do."""


def clean(text: str) -> str:
    """The text with escapes such as \\x1b for whatever a terminal would obey: names come from files, and from gear."""
    return _OBEYED.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def print_line(text: str = "", end: str = "\n", style: str | None = None) -> None:
    """Print a line, or several, on stdout; `style`: SGR parameters (ECMA-48 8.3.117), for a terminal with colours."""
    shown = clean(text)
    print(shown if style is None else f"\033[{style}m{shown}\033[0m", end=end, flush=True)


def print_words(text: str) -> None:
    """Print sentences on stdout; on a terminal, lines end between words."""
    print_line(_between_words(text) if sys.stdout.isatty() else text)


def has_colour() -> bool:
    """Whether stdout is a terminal with colours, and the player wants them (NO_COLOR, as no-color.org has it)."""
    screen = console()
    return screen.color_system is not None and not screen.no_color


def say(text: str) -> None:
    """Print a sentence for the player on stderr; on a terminal, lines end between words."""
    print(clean(_between_words(text) if sys.stderr.isatty() else text), file=sys.stderr, flush=True)


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most this width that end between words; what fits already keeps its spaces."""
    folded = partial(textwrap.wrap, width=width, break_on_hyphens=False)
    lines = (folded(line) if len(line) > width else [line] for line in text.split("\n"))
    return [part for parts in lines for part in parts]


def _between_words(text: str) -> str:
    return "\n".join(wrapped(text, shutil.get_terminal_size().columns))


def say_over(text: str) -> None:
    """Print on stderr in place of the line that is there; it is a terminal."""
    print(f"{_CLEAR_LINE}{clean(text)}", end="", file=sys.stderr, flush=True)


def leave_signals_to_the_show() -> None:
    """From here on the show handles Ctrl-C and SIGTERM; an impatient second one must not interrupt its ending."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)


def console(plain: bool = False) -> "Console":
    """Where tables go; a new one each time, so that it follows a redirected stdout. `plain`: without any style."""
    from rich.console import Console  # here: commands that print no table begin sooner

    return Console(highlight=False, markup=False, emoji=False, color_system=None if plain else "auto")


def as_json(value: Any) -> None:
    """Print a value as JSON."""
    print_line(in_json(value, indent=2))


def in_json(value: Any, indent: int | None = None) -> str:
    """A value as JSON, with escapes for letters that standard output cannot show, and that a terminal would obey."""
    every_letter = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    written = json.dumps(value, indent=indent, ensure_ascii=not every_letter)
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", written)  # within its texts: JSON itself has none


def write_new(file: Path, data: bytes) -> None:
    """Write a new file; an existing one is left alone, and no half-written one stays. Raises CommandError."""
    try:
        with file.open("xb") as opened:
            try:
                opened.write(data)
                opened.flush()
            except OSError:
                file.unlink()
                raise
    except FileExistsError:
        raise _there_already(file) from None
    except (OSError, ValueError) as fault:  # ValueError: a name that no file can have
        raise CommandError(f"{file} cannot be written: {getattr(fault, 'strerror', fault)}") from None


def refuse_existing(file: Path) -> None:
    """Raise CommandError if `write_new` would find a file there: before long work, not after it."""
    if os.path.lexists(file):
        raise _there_already(file)


def _there_already(file: Path) -> CommandError:
    return CommandError(f"{file} already exists and was left alone; choose another file name")


def table(columns: Sequence[str], rows: Iterable[Sequence[object]], title: str | None = None) -> None:
    """Print a table, numbers to the right. On a screen too narrow for it, each row becomes a list of its cells."""
    screen = console()
    if title is not None:
        screen.print(clean(title), style="italic")
    _draw(screen, columns, [tuple(row) for row in rows])


def table_lines(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """The lines of such a table, without the empty ones around it, and without styles: they are printed as text."""
    screen = console(plain=True)
    with screen.capture() as drawn:
        _draw(screen, columns, rows)
    lines = [line.rstrip() for line in drawn.get().split("\n")]
    told = [place for place, line in enumerate(lines) if line]
    return lines[told[0] : told[-1] + 1]


def _draw(screen: "Console", columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    from rich import box
    from rich.table import Table

    cells = [["" if cell is None else clean(str(cell)) for cell in row] for row in rows]
    least, natural = _widths(columns, cells)
    room = screen.width - _BETWEEN * (len(columns) - 1) - 2
    if rows and sum(least) > room:
        for row in cells:
            lines = "\n".join(f"{column}: {cell}" for column, cell in zip(columns, row, strict=True) if cell)
            screen.print(lines, end="\n\n")
        return
    while sum(natural) > room and natural != least:
        narrowed = max((at for at in range(len(columns)) if natural[at] > least[at]), key=natural.__getitem__)
        natural[narrowed] -= 1
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for index, column in enumerate(columns):
        numbers = bool(rows) and all(isinstance(row[index], int | float) for row in rows)
        drawn.add_column(column, justify="right" if numbers else "left", overflow="fold", width=natural[index])
    for row in cells:
        drawn.add_row(*row)
    screen.print(drawn)


def _widths(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[list[int], list[int]]:
    """The width of each column: the least, at which only very long words are broken, and that of its longest line."""
    from rich.cells import cell_len

    least, natural = [], []
    for column in zip(columns, *rows, strict=True):
        least.append(min(max(cell_len(word) for cell in column for word in cell.split() or ("",)), _WORD))
        natural.append(max(cell_len(line) for cell in column for line in cell.split("\n")))
    return least, natural
