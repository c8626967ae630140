"""`bayleaf setlist`: shows or changes the set list, and jumps to an entry of it."""

from typing import Annotated, Any

import typer

from engine.cli.options import Json, Name
from engine.cli.output import as_json, print_line, table
from engine.cli.requests import command, commanded, show_command
from engine.cli.status_words import setlist_in_words
from engine.live.socket import client


def setlist(
    chosen: Annotated[str | None, typer.Argument(help="The set list to use from now on.")] = None,
    entry: Annotated[int | None, typer.Option("--entry", help="Recall this entry of the set list, from 1.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Show or switch the set list, or jump to an entry."""
    if chosen is not None:
        answer = commanded(name, {"do": "setlist", "setlist": chosen})
        if entry is None or not json:  # JSON is one answer, the last
            show_command(answer, json)
    if entry is not None:
        command(name, {"do": "entry", "entry": entry}, json)
    if chosen is None and entry is None:
        _show(name, json)


def _show(name: str, json: bool) -> None:
    status = client.ask(name, {"do": "status"})["status"]
    found: dict[str, Any] = status["setlist"]
    known: list[str] = status["setlists"]
    if json:
        as_json({**found, "setlists": known})
        return
    print_line(setlist_in_words(found) + (f" (available: {', '.join(known)})" if len(known) > 1 else ""))
    names = {scene["number"]: scene["name"] for scene in client.ask(name, {"do": "scenes", "what": "list"})["scenes"]}
    rows = [
        (entry, number, names.get(number, ""), "here" if entry == found["place"] else "")
        for entry, number in enumerate(found["scenes"], 1)
    ]
    table(("entry", "no.", "scene", "place"), rows)
