"""`bayleaf panel`: the front panel of an engine that runs."""

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.output import CommandError, Name
from engine.panel.panel_supervisor import give_way

PORT: Final = 8420
Port = Annotated[int, typer.Option("--port", min=0, max=65535, help="Where browsers find it; 0 takes a free port.")]


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("panel")(panel)


def panel(
    name: Name = "bayleaf",
    port: Port = PORT,
    lan: Annotated[bool, typer.Option("--lan", help="Let paired browsers of other machines in.")] = False,
    cert: Annotated[Path | None, typer.Option("--cert", help="A certificate's file (PEM), to serve by TLS.")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="The file of the certificate's key (PEM).")] = None,
    host: Annotated[
        list[str] | None, typer.Option("--host", help="A name by which other machines know this one.")
    ] = None,
    forget: Annotated[bool, typer.Option("--forget", help="End all pairings first.")] = False,
    with_engine: Annotated[bool, typer.Option("--with-engine", hidden=True)] = False,
) -> None:
    """Serve the front panel, a page for the browser, of an engine that runs (Ctrl-C ends it)."""
    from engine.panel.panel_process import PanelError, PanelOptions, serve

    give_way(0)
    try:
        serve(PanelOptions(name, port, lan, cert, key, tuple(host or ()), forget, with_engine), _say)
    except PanelError as fault:
        raise CommandError(str(fault)) from None


def beside(name: str, port: int) -> list[str]:
    """The command that serves the panel of an engine that starts it itself."""
    return [sys.executable, "-m", "engine.cli", "panel", "--name", name, "--port", str(port), "--with-engine"]


def _say(text: str) -> None:
    print(text, flush=True)
