"""`bayleaf simplify`: prints a rig of format 1 in the shorter words of format 2."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import as_json, print_line, refuse_existing, say, write_new
from engine.offline.simplified_rig import simplified
from engine.plurals import counted, some
from engine.rig.read.load import text_of


def simplify(
    rig: RigFile,
    out: Annotated[Path | None, typer.Option("--out", help="A new file for the rig, instead of printing it.")] = None,
    channel: Annotated[
        int | None,
        typer.Option("--channel", min=1, max=16, help="The only channel on which inputs send. Default: any of them."),
    ] = None,
    json: Json = False,
) -> None:
    """Print a rig of format 1 in the shorter words of format 2.

    Play lines take the place of routes and bursts, and a scene says only how it differs from another one. Each scene
    is proved to do the same to every message. The rig file itself is left as it is.

    A line plays its instrument from every channel of an input; a route may leave other channels as they are. If all
    your inputs send on channel 1, --channel 1 compares that channel alone, and more becomes shorter.

    Example: bayleaf simplify pit.toml --out pit-2.toml
    """
    if out is not None:
        refuse_existing(out)
    text = text_of(rig)
    made = simplified(text, str(rig), channel=channel)
    before, after = (len(each.splitlines()) for each in (text, made.text))
    if out is not None:
        write_new(out, made.text.encode())
    if json:
        as_json(
            {"text": made.text, "kept": [each._asdict() for each in made.kept], "lines_before": before, "lines": after}
        )
        return
    if out is None:
        print_line(made.text, end="")
    by_reason: dict[str, list[str]] = {}
    for each in made.kept:
        by_reason.setdefault(each.reason, []).append(each.place)
    for reason, places in by_reason.items():
        stays = "it stays a route" if len(places) == 1 else "they stay routes"
        say(f"note: {reason}; {stays}: {some(places)}")
    if made.kept and channel is None:
        say("note: if all inputs send on one channel, say which: --channel N makes lines of more routes")
    if made.programs:
        say(
            "note: lines with programs = true pass program changes, bank selects and mode messages as their routes "
            "did; take it away where nobody needs them"
        )
    asked = "every message" if channel is None else f"every message on channel {channel}"
    say(f"{counted(after, 'line')} instead of {before:,}; every scene does the same to {asked}")
    if out is not None:
        say(f"Next, hear that it does: bayleaf rehearse {out} SONG.mid --against {rig}")
