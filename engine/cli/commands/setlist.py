"""`bayleaf setlist`: shows or changes the set list, and jumps to an entry of it."""

from typing import Annotated, Any

import typer

from engine.cli.options import Json, Name, Player
from engine.cli.output import CommandError, as_json, print_line, table
from engine.cli.requests import command, commanded, for_player, show_command
from engine.cli.status_words import setlist_in_words
from engine.live.socket import client
from engine.rig.read.raw_data import no_such


def setlist(
    chosen: Annotated[str | None, typer.Argument(help="The set list to use from now on.")] = None,
    entry: Annotated[int | None, typer.Option("--entry", help="Recall this entry of the set list, from 1.")] = None,
    player: Player = "",
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Show or switch the set list, or jump to an entry."""
    if chosen is not None:
        answer = commanded(name, for_player({"do": "setlist", "setlist": chosen}, player))
        if entry is None or not json:  # JSON is one answer, the last
            show_command(answer, json)
    if entry is not None:
        command(name, for_player({"do": "entry", "entry": entry}, player), json)
    if chosen is None and entry is None:
        _show(name, player, json)


def _show(name: str, player: str, json: bool) -> None:
    status = client.ask(name, {"do": "status"})["status"]
    if player and player not in status["players"]:
        raise CommandError(no_such("player", player, status["players"]))
    found: dict[str, Any] = status["setlist"]
    if player:
        theirs = status["players"][player]
        found = {"name": theirs["setlist"], "place": theirs["place"], "scenes": theirs["scenes"]}
    known: list[str] = status["setlists"]
    if json:
        as_json({**found, "setlists": known})
        return
    print_line(setlist_in_words(found) + (f" (available: {', '.join(known)})" if len(known) > 1 else ""))
    scenes = {scene["number"]: scene for scene in client.ask(name, {"do": "scenes", "what": "list"})["scenes"]}
    listed = [scenes.get(number, {}) for number in found["scenes"]]
    extra = ["cue"] if any(each.get("cue") is not None for each in listed) else []
    rows = [
        (entry, number, *(each.get(key) for key in extra), each.get("name"), "here" if entry == found["place"] else "")
        for entry, (number, each) in enumerate(zip(found["scenes"], listed, strict=True), 1)
    ]
    table(("entry", "no.", *extra, "scene", "place"), rows)
