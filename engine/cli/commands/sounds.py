"""`bayleaf sounds`: find a sound by a few letters, hear it, import a list of sounds."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from engine.cli.output import CommandError, Json, Name, as_json, table, write_new
from engine.live.socket import client
from engine.rig.models.rig import Rig
from engine.rig.read.load import load
from engine.rig.read.sound_csv import from_csv
from engine.rig.read.sound_list import SoundListError

_PATIENCE = 15.0  # seconds: the phrase is played before the engine answers


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("sounds")(sounds)


def sounds(
    rig: Annotated[str, typer.Argument(help="The rig file; or: import FILE.csv LIST.toml")],
    letters: Annotated[list[str] | None, typer.Argument(help="A few letters of the sound's name.")] = None,
    audition: Annotated[
        bool, typer.Option("--audition", help="Have the running engine play the one sound that is found, softly.")
    ] = False,
    instrument: Annotated[str | None, typer.Option("--instrument", help="Of this instrument alone.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Find a sound over all instruments; or make a sound list of a CSV file (columns msb, lsb, program, name)."""
    words = letters or []
    if rig == "import":
        _import(words)
        return
    found = _found(load(Path(rig)), " ".join(words), instrument)
    if audition:
        _audition(found, name, json)
    elif json:
        as_json(found)
    else:
        rows = [(one["instrument"], one["sound"], *(one["bank"] or ("", "")), one["program"]) for one in found]
        table(("instrument", "sound", "MSB", "LSB", "program"), rows)


def _found(rig: Rig, letters: str, instrument: str | None) -> list[dict[str, Any]]:
    """The sounds whose names have all these words in them, or parts of words; upper and lower case are alike."""
    wanted = letters.casefold().split()
    found = [
        {"instrument": name, "sound": sound, "bank": settings.bank, "program": settings.program}
        for name, gear in rig.instruments.items()
        if instrument in (None, name)
        for sound, settings in gear.sounds.items()
        if all(word in sound.casefold() for word in wanted)
    ]
    if not found:
        raise CommandError(f'no instrument that was asked for has a sound with "{letters}" in its name')
    return found


def _audition(found: Sequence[dict[str, Any]], name: str, json: bool) -> None:
    if len(found) > 1:
        listed = "; ".join(f"{one['instrument']}: {one['sound']}" for one in found[:8])
        raise CommandError(
            f"{len(found)} sounds fit ({listed}{' …' if len(found) > 8 else ''}); give more letters, or --instrument"
        )
    request = {"do": "audition", "instrument": found[0]["instrument"], "sound": found[0]["sound"]}
    answer = client.ask(name, request, patience=_PATIENCE)
    if not answer["done"]:
        raise CommandError(answer["text"])
    if json:
        as_json(answer)
    else:
        print(answer["text"])


def _import(words: Sequence[str]) -> None:
    if len(words) != 2:
        raise typer.BadParameter("give the two files: bayleaf sounds import FILE.csv LIST.toml")
    source, made = map(Path, words)
    try:
        text = from_csv(source.read_text(encoding="utf-8-sig"), str(source))
    except UnicodeDecodeError:
        raise SoundListError(f"{source}:1: this is not UTF-8 text; save the file as UTF-8") from None
    except OSError as fault:
        raise CommandError(f"{source} cannot be read: {fault.strerror}") from None
    write_new(made, text.encode())
    print(f'wrote {made}; name it in an instrument: sounds_from = "{made}"')
