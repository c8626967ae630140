"""`bayleaf panel`: serves the front panel of a running engine."""

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.options import Name
from engine.cli.output import CommandError, print_line
from engine.give_way import give_way

PORT: Final = 8420
OPEN: Final = "--open"
Port = Annotated[
    int, typer.Option("--port", metavar="N", min=0, max=65535, help="TCP port of the front panel; 0 takes a free one.")
]


def panel(
    name: Name = "bayleaf",
    port: Port = PORT,
    lan: Annotated[bool, typer.Option("--lan", help="Admit paired browsers on other machines.")] = False,
    cert: Annotated[Path | None, typer.Option("--cert", help="Certificate file (PEM), to serve over TLS.")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="Key file of the certificate (PEM).")] = None,
    host: Annotated[
        list[str] | None, typer.Option("--host", help="Host name by which other machines reach this one.")
    ] = None,
    forget: Annotated[
        bool, typer.Option("--forget", help="Revoke all pairings first, also those of a panel that runs.")
    ] = False,
    open_page: Annotated[bool, typer.Option(OPEN, hidden=True)] = False,
    with_engine: Annotated[bool, typer.Option("--with-engine", hidden=True)] = False,
) -> None:
    """Serve the front panel as a web page (Ctrl-C to stop)."""
    from engine.panel.panel_process import PanelError, PanelOptions, serve

    give_way(0)
    try:
        serve(PanelOptions(name, port, lan, cert, key, tuple(host or ()), forget, with_engine, open_page), _say)
    except PanelError as fault:
        raise CommandError(str(fault)) from None


def beside(name: str, port: int, lan: bool = False) -> list[str]:
    """The command line with which an engine starts the panel beside it."""
    command = [sys.executable, "-m", "engine.cli", "panel", "--name", name, "--port", str(port), "--with-engine"]
    return [*command, "--lan"] if lan else command


def _say(text: str) -> None:
    print_line(text)
