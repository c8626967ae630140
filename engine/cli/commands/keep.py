"""`bayleaf keep`: saves what a running engine received and sent in the last minutes, after a mishap."""

import re
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.options import Json, Name
from engine.cli.requests import do

_LAST: Final = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?(s|m|min|h)?")
_SECONDS: Final = {None: 1, "s": 1, "m": 60, "min": 60, "h": 3600}
_MOST: Final = 100 * 3600  # seconds
_PATIENCE: Final = 120.0  # seconds: writing a full recording takes about ten, more on a slow memory stick


def keep(
    file: Annotated[Path, typer.Argument(help="The file to write: a new one that ends in .mid or .jsonl.")],
    last: Annotated[str, typer.Option("--last", help="How far back: 90s, 5m, 1h.")] = "5m",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Save the messages of the last minutes, in and out.

    They are saved with their times, ports and scenes.

    A .jsonl file holds everything. A .mid file opens in a sequencer and holds notes, controllers, programs and SysEx,
    but no clock or other system messages.

    Example: bayleaf keep mishap.mid --last 5m
    """
    request = {"do": "keep", "last_s": _seconds(last), "file": str(file.absolute())}
    do(name, request, json, _PATIENCE)


def _seconds(text: str) -> float:
    """The length of time in seconds: "5m" is 300.0. Raises BadParameter with what is allowed."""
    match = _LAST.fullmatch(text.strip())
    seconds = float(match[1]) * _SECONDS[match[2]] if match else 0.0
    if not 0 < seconds <= _MOST:
        raise typer.BadParameter(
            f'"{text}" is not a length of time; allowed: 90s, 5m, 1h and the like, up to 100h', param_hint="--last"
        )
    return seconds
