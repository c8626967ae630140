"""How the command prints: tables for people, JSON for programs."""

import json
import signal
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.user_error import UserError

if TYPE_CHECKING:
    from rich.console import Console

_WORD: Final = 16  # letters; a longer word may be broken where there is no room
_BETWEEN: Final = 3  # letters between two columns


class CommandError(UserError):
    """The rig or the request is at fault; the text says what is wrong and what to do."""


def say(text: str) -> None:
    """Print a sentence for the player on stderr."""
    print(text, file=sys.stderr, flush=True)


def leave_signals_to_the_show() -> None:
    """From here on the show handles Ctrl-C and SIGTERM; an impatient second one must not interrupt its ending."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)


def console() -> "Console":
    """Where tables go; a new one each time, so that it follows a redirected stdout."""
    from rich.console import Console  # here: commands that print no table begin sooner

    return Console(highlight=False, markup=False, emoji=False)


def as_json(value: Any) -> None:
    """Print a value as JSON."""
    print(in_json(value, indent=2))


def in_json(value: Any, indent: int | None = None) -> str:
    """A value as JSON, with escapes for letters that standard output cannot show."""
    every_letter = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    return json.dumps(value, indent=indent, ensure_ascii=not every_letter)


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
        raise CommandError(f"{file} already exists and was left alone; choose another file name") from None
    except (OSError, ValueError) as fault:  # ValueError: a name that no file can have
        raise CommandError(f"{file} cannot be written: {getattr(fault, 'strerror', fault)}") from None


def table(columns: Sequence[str], rows: Iterable[Sequence[object]], title: str | None = None) -> None:
    """Print a table, numbers to the right. On a screen too narrow for it, each row becomes a list of its cells."""
    from rich import box
    from rich.table import Table

    rows = [tuple(row) for row in rows]
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    screen = console()
    if title is not None:
        screen.print(title, style="italic")
    if rows and _least(columns, cells) > screen.width:
        for row in cells:
            lines = "\n".join(f"{column}: {cell}" for column, cell in zip(columns, row, strict=True) if cell)
            screen.print(lines, end="\n\n")
        return
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for index, column in enumerate(columns):
        numbers = bool(rows) and all(isinstance(row[index], int | float) for row in rows)
        drawn.add_column(column, justify="right" if numbers else "left", overflow="fold")
    for row in cells:
        drawn.add_row(*row)
    screen.print(drawn)


def _least(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    """The width of a table in which only very long words are broken."""
    longest = (
        max(len(word) for cell in column for word in cell.split() or ("",))
        for column in zip(columns, *rows, strict=True)
    )
    return sum(min(length, _WORD) for length in longest) + _BETWEEN * (len(columns) - 1) + 2
