"""Reports results: as tables on the terminal, as results.json, and between two marks in README.md."""

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from rich import box
from rich.console import Console
from rich.table import Table as Drawn

from bench.result import PARTS
from bench.targets import verdicts

HERE: Final = Path(__file__).parent
BEGIN: Final = "<!-- results: written by python -m bench -->"
END: Final = "<!-- end of results -->"
_WIDTH: Final = 180  # of a file or a pipe
_VERDICTS: Final = ["", "figure", "wanted", "measured"]


def shown(cell: Any) -> str:
    """A number with its significant digits only."""
    if cell is None:
        return ""
    if not isinstance(cell, float):
        return f"{cell:,}" if isinstance(cell, int) else str(cell)
    if cell == 0 or abs(cell) >= 100:
        return f"{cell:,.0f}"
    return f"{cell:.3g}" if abs(cell) < 10 else f"{cell:.1f}"


def print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[Any]], note: str = "") -> None:
    """Print a table on the terminal."""
    width = None if sys.stdout.isatty() else _WIDTH
    console = Console(highlight=False, markup=False, emoji=False, width=width)
    drawn = Drawn(title=title, title_justify="left", caption=note, caption_justify="left", box=box.SIMPLE_HEAD)
    for index, column in enumerate(columns):
        numbers = any(isinstance(row[index], int | float) for row in rows)
        drawn.add_column(column, justify="right" if numbers else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(shown(cell) for cell in row))
    console.print(drawn)


def print_part(part: Mapping[str, Any]) -> None:
    """Print a part's tables and notes."""
    for table in part["tables"]:
        print_table(table["title"], table["columns"], table["rows"], table["note"])
    for note in part["notes"]:
        print(f"! {note}")
    print(f"  ({_circumstances(part)})\n")


def print_verdicts(parts: Mapping[str, Any]) -> None:
    """Print each target, met or missed."""
    print_table("Targets", _VERDICTS, verdicts(parts))


def _circumstances(part: Mapping[str, Any]) -> str:
    return f"{part['when']}, commit {part['commit']}, {part['seconds']:.0f} s{', quick' if part['quick'] else ''}"


def read_results(file: Path) -> dict[str, Any]:
    """The earlier results; empty if there are none."""
    try:
        found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {"machine": {}, "parts": {}}
    return found


def write_results(file: Path, results: Mapping[str, Any]) -> None:
    """Write them as JSON, with the verdicts."""
    targets = [dict(zip(("verdict", "figure", "wanted", "measured"), row, strict=True)) for row in _rows(results)]
    whole = {**results, "targets": targets}
    file.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _rows(results: Mapping[str, Any]) -> list[list[str | float | None]]:
    return verdicts(results["parts"])


def write_readme(file: Path, results: Mapping[str, Any], picture: str | None) -> None:
    """Put the results between the two marks; the rest of the file stays."""
    text = file.read_text(encoding="utf-8")
    before, found, rest = text.partition(BEGIN)
    _, ended, after = rest.partition(END)
    if not found or not ended:
        raise SystemExit(f"{file}: the marks {BEGIN} and {END} are missing; put them where the results belong")
    file.write_text(before + BEGIN + "\n\n" + markdown(results, picture) + "\n" + END + after, encoding="utf-8")


def markdown(results: Mapping[str, Any], picture: str | None) -> str:
    """All results as GitHub's Markdown."""
    pieces = [_machine(results["machine"])]
    if waiting := [name for name in PARTS if name not in results["parts"]]:
        pieces.append(f"Parts that await the next run: {', '.join(waiting)}.")
    pieces += ["## Targets", _table(_VERDICTS, _rows(results))]
    if picture is not None:
        pieces.append(
            f"![How cost grows with routes, filters, scenes and ports, and how late messages and clocks are]({picture})"
        )
    for name, part in results["parts"].items():
        pieces += [f"## {name}", f"*{_circumstances(part)}.*"]
        for table in part["tables"]:
            pieces += [f"**{table['title']}.** {table['note']}".strip(), _table(table["columns"], table["rows"])]
        pieces += part["notes"]
    return "\n\n".join(pieces) + "\n"


def _machine(machine: Mapping[str, Any]) -> str:
    libraries = ", ".join(f"{name} {version}" for name, version in machine["libraries"].items())
    return (
        f"Machine: {machine['cores']} cores, {machine['system']}, {machine['python']}; {libraries}. "
        "Each part says below when it was measured. Read the ratios first."
    )


def _table(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    lines = [columns, ["---"] * len(columns), *([shown(cell) for cell in row] for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
