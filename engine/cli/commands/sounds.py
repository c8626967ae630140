"""`bayleaf sounds`: finds a sound by a few letters, plays it, and imports sound lists."""

from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError, as_json, print_line, table, write_new
from engine.cli.requests import do
from engine.rig.gear_words import label_of
from engine.rig.models.rig import Rig
from engine.rig.read.load import load
from engine.rig.read.raw_data import no_such
from engine.rig.read.sound_list import SoundListError
from engine.rig.sound_csv import from_csv

_PATIENCE = 15.0  # seconds: the phrase is played before the engine answers


def sounds(
    rig: Annotated[str, typer.Argument(help="The rig file, or: import FILE.csv LIST.toml")],
    letters: Annotated[list[str] | None, typer.Argument(help="A few letters of the sound's name.")] = None,
    audition: Annotated[
        bool, typer.Option("--audition", help="Have the running engine play the sound that was found, softly.")
    ] = False,
    instrument: Annotated[str | None, typer.Option("--instrument", help="Search this instrument only.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Find a sound by a few letters of its name.

    Also makes a sound list from a CSV file with the columns msb, lsb, program (or printed), name.

    Example: bayleaf sounds pit.toml warm pad
    """
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
        table(("instrument", "sound", "MSB", "LSB", "program", "printed"), map(_row, found))


def _row(one: dict[str, Any]) -> tuple[Any, ...]:
    program = [] if one["program"] is None else [str(one["program"])]
    chosen_by = ", ".join((*one["send"], *program))
    return one["instrument"], one["sound"], *(one["bank"] or ("", "")), chosen_by, one["printed"] or ""


def _found(rig: Rig, letters: str, instrument: str | None) -> list[dict[str, Any]]:
    """The sounds whose names and printed labels contain all these words or parts of words, in upper or lower case."""
    if instrument is not None and instrument not in rig.instruments:
        raise CommandError(no_such("instrument", instrument, rig.instruments))
    words = letters.casefold().split()
    found = [
        {
            "instrument": name,
            "sound": sound,
            "bank": settings.bank,
            "program": settings.program,
            "printed": label_of(gear, settings),
            "send": settings.send,
        }
        for name, gear in rig.instruments.items()
        if instrument in (None, name)
        for sound, settings in gear.sounds.items()
        if all(word in f"{sound} {label_of(gear, settings) or ''}".casefold() for word in words)
    ]
    if not found:
        searched = (gear for name, gear in rig.instruments.items() if instrument in (None, name))
        raise CommandError(_none_found(letters, [sound for gear in searched for sound in gear.sounds], instrument))
    return found


def _none_found(letters: str, sounds: Sequence[str], instrument: str | None) -> str:
    """The sentence about letters that are in no name, with the names that are most like them."""
    names = {sound.casefold(): sound for sound in sounds}
    near = [f'"{names[each]}"' for each in get_close_matches(letters.casefold(), names, 3)]
    where = f" of {instrument}" if instrument else ""
    meant = f"did you mean {' or '.join(near)}? " if near else ""
    return f'no sound{where} has "{letters}" in its name; {meant}leave the letters out to list all of them'


def _audition(found: Sequence[dict[str, Any]], name: str, json: bool) -> None:
    if len(found) > 1:
        listed = "; ".join(f"{one['instrument']}: {one['sound']}" for one in found[:8])
        raise CommandError(
            f"{len(found)} sounds match ({listed}{' …' if len(found) > 8 else ''}); give more letters or --instrument"
        )
    request = {"do": "audition", "instrument": found[0]["instrument"], "sound": found[0]["sound"]}
    do(name, request, json, _PATIENCE)


def _import(words: Sequence[str]) -> None:
    if len(words) != 2:
        raise typer.BadParameter("give both files: bayleaf sounds import FILE.csv LIST.toml")
    source, made = map(Path, words)
    try:
        text = from_csv(source.read_text(encoding="utf-8-sig"), str(source))
    except UnicodeDecodeError:
        raise SoundListError(f"{source}:1: this is not UTF-8 text; save the file as UTF-8") from None
    except OSError as fault:
        raise CommandError(f"{source} cannot be read: {fault.strerror}") from None
    write_new(made, text.encode())
    print_line(f'wrote {made}; name it in an instrument: sounds_from = "{made}"')
