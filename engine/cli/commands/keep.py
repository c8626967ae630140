"""`bayleaf keep`: saves the last minutes of a running engine after a mishap."""

import re
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.output import CommandError, Json, Name, as_json
from engine.live.socket import client

_LAST: Final = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?(s|m|min|h)?")
_SECONDS: Final = {None: 1, "s": 1, "m": 60, "min": 60, "h": 3600}
_MOST: Final = 100 * 3600  # seconds
_PATIENCE: Final = 120.0  # seconds: a full recording takes some ten to write, on a slow stick more


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("keep")(keep)


def keep(
    file: Annotated[Path, typer.Argument(help="Where to: a new file that ends in .mid or .jsonl.")],
    last: Annotated[str, typer.Option("--last", help="How far back: 90s, 5m, 1h.")] = "5m",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Save what came in and went out in the last minutes, with times, ports and scenes.

    A .jsonl file has everything; a .mid file opens in a sequencer and has notes, controllers, programs and SysEx, but
    no clock or other system messages.
    """
    request = {"do": "keep", "last_s": _seconds(last), "file": str(file.absolute())}
    answer = client.ask(name, request, patience=_PATIENCE)
    if not answer["done"]:
        raise CommandError(answer["text"])
    if json:
        as_json(answer)
        return
    print(answer["text"])


def _seconds(text: str) -> float:
    """ "5m" is 300.0. Raises BadParameter that says what is allowed."""
    match = _LAST.fullmatch(text.strip())
    seconds = float(match[1]) * _SECONDS[match[2]] if match else 0.0
    if not 0 < seconds <= _MOST:
        raise typer.BadParameter(
            f'"{text}" is not a length of time; allowed are 90s, 5m, 1h and the like, up to 100h', param_hint="--last"
        )
    return seconds
