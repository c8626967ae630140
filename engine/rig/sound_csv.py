"""Sound lists made from CSV, as spreadsheets write it."""

import csv
import io
from collections.abc import Sequence
from typing import Any, Final

from engine.rig.edit.toml_edits import toml
from engine.rig.read.sound_list import SoundListError, read_list

_COLUMNS: Final = ("msb", "lsb", "program", "printed", "name")


def from_csv(text: str, source: str) -> str:
    """A sound list as TOML from CSV with the columns msb, lsb, program, printed, name in its head, in any order.

    Columns are separated by commas, or by semicolons where the comma is the decimal sign. msb and lsb may be empty or
    missing, and so may either program or printed; programs count from 1. A repeated name gets its bank and program
    added. Raises SoundListError.
    """
    plain = text.removeprefix("\ufeff")
    reader = csv.reader(io.StringIO(plain), delimiter=";" if ";" in plain.partition("\n")[0] else ",", strict=True)
    try:
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as fault:
        raise SoundListError(
            f"{source}:{reader.line_num}: this is not valid CSV; is a quote left open? ({fault})"
        ) from None
    made = _list(rows, source)
    read_list(made, source)
    return made


def _list(rows: Sequence[tuple[int, list[str]]], source: str) -> str:
    head = [each.strip().lower() for each in rows[0][1]] if rows else []
    named = "name" in head and {"program", "printed"} & set(head)
    if not named or not set(head) <= set(_COLUMNS) or len(set(head)) != len(head):
        raise SoundListError(
            f"{source}:1: found the columns {', '.join(head) or 'none'}; required: {', '.join(_COLUMNS)}"
        )
    lines, taken = [], set()
    for line, row in rows[1:]:
        if not any(each.strip() for each in row):
            continue
        sound = _row(head, row, f"{source}:{line}")
        if sound["name"] in taken:
            bank = " ".join(map(str, sound.get("bank", ())))
            number = sound.get("program", sound.get("printed"))
            sound["name"] = f"{sound['name']} ({bank + ' ' if bank else ''}{number})"
        if sound["name"] in taken:
            raise SoundListError(f"{source}:{line}: this sound is listed twice; keep one of them")
        taken.add(sound["name"])
        lines.append(f"  {toml(sound)},\n")
    return f"format = 1\nprograms_from = 1\nsounds = [\n{''.join(lines)}]\n"


def _row(head: Sequence[str], row: Sequence[str], place: str) -> dict[str, Any]:
    if len(row) != len(head):
        raise SoundListError(f"{place}: found {len(row)} columns; required: {len(head)}, as in the first line")
    cells = {key: " ".join(cell.split()) for key, cell in zip(head, row, strict=True)}
    if not cells["name"]:
        raise SoundListError(f"{place}: the name is missing")
    sound: dict[str, Any] = {"name": cells["name"]}
    if cells.get("printed"):
        sound["printed"] = cells["printed"]
    if cells.get("program") or not cells.get("printed"):
        sound["program"] = _number(cells.get("program", ""), 1, 128, f"{place}: program")
    msb, lsb = cells.get("msb", ""), cells.get("lsb", "")
    if msb or lsb:
        sound["bank"] = [_number(each or "0", 0, 127, f"{place}: {key}") for key, each in (("msb", msb), ("lsb", lsb))]
    return sound


def _number(cell: str, low: int, high: int, place: str) -> int:
    if not (cell.isascii() and cell.isdecimal() and len(cell) < 4 and low <= int(cell) <= high):
        raise SoundListError(f'{place}: found "{cell}"; allowed: {low} to {high}')
    return int(cell)
