"""`bayleaf status`: shows what the engine is doing."""

import shutil
from datetime import datetime
from typing import Annotated, Any

import typer

from engine.cli.options import Json, Name
from engine.cli.output import as_json, print_line
from engine.cli.status_screen import status_on_screen, whole_status
from engine.fault_log import panel_log_file
from engine.live.socket import client


def status(
    whole: Annotated[
        bool, typer.Option("--all", help="Show every port and sound, however many lines that takes.")
    ] = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Show what is wrong, and the scene, ports and sounds of the engine.

    Fits on one screen: what is wrong comes first, and long lists are folded. --all shows everything.
    """
    found = client.ask(name, {"do": "status"})["status"]
    found["panel_log"] = _panel_log(name)
    if json:
        as_json(found)
        return
    width, height = shutil.get_terminal_size()
    lines = whole_status(found) if whole else status_on_screen(found, width, height - 1)  # one for the prompt
    print_line("\n".join(lines))


def _panel_log(name: str) -> dict[str, Any] | None:
    """The log of the front panel, a process of its own, and when it was last written; None if there is none."""
    file = panel_log_file(name)
    try:
        last = file.stat().st_mtime
    except OSError:
        return None
    return {"file": str(file), "last": datetime.fromtimestamp(last).isoformat(" ", "seconds")}
