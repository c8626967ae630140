"""`bayleaf network`: what a rig of several machines needs beside its file."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.output import CommandError, Json, as_json, table
from engine.cluster.link import join
from engine.cluster.link.keyring import folder_of
from engine.cluster.link.link import NEEDED, LinkError
from engine.rig.models.network import Network
from engine.rig.read.load import load


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    group = typer.Typer(help="A rig on several machines.", no_args_is_help=True)
    group.callback()(_group)
    group.command("keys")(keys)
    group.command("find")(find)
    app.add_typer(group, name="network")


def _group() -> None:
    """A rig on several machines."""


def keys(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    anew: Annotated[
        bool, typer.Option("--anew", help="Make all of them anew; the old ones are worth nothing.")
    ] = False,
    json: Json = False,
) -> None:
    """Make the certificates by which a rig's machines know each other: what is missing, or everything with --anew."""
    try:
        from engine.cluster.link.certificate_authority import make_keys
    except ImportError:
        raise CommandError(NEEDED) from None
    loaded = load(rig)
    if loaded.network is None:
        raise CommandError(f"{rig} has no [network], so that no machine needs a certificate")
    folder = folder_of(loaded.network, rig)
    try:
        made = make_keys(loaded.rig.name, loaded.network, folder, anew)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    except OSError as fault:
        raise CommandError(f"the keys cannot be written: {fault.strerror}: {fault.filename}") from None
    if json:
        as_json([{**each._asdict(), "folder": str(each.folder), "ends": each.ends.isoformat()} for each in made])
        return
    table(
        ("machine", "folder", "", "until"),
        [(each.machine, each.folder, "new" if each.new else "in order", f"{each.ends:%d %B %Y}") for each in made],
    )
    print(_what_now(loaded.network, folder))


def find(
    rig: Annotated[Path | None, typer.Argument(help="A rig file, whose machines are named.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen.", min=0.1)] = 3.0,
    json: Json = False,
) -> None:
    """Look for machines on this net that play or lend with `discover = true`, and tell their addresses."""
    network = load(rig).network if rig is not None else None
    named = {machine.listen: name for name, machine in network.machines.items()} if network is not None else {}
    try:
        found = join.find(seconds)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    if json:
        as_json([{"address": address, "machine": named.get(address)} for address in found])
    elif found:
        table(("address", "machine"), [(address, named.get(address)) for address in found])
    else:
        print("nobody answers; machines do once their rig says discover = true in [network]")


def _what_now(network: Network, folder: Path) -> str:
    """What the player does with them."""
    if network.loopback:
        return "All these machines are on this computer, so that their links are plain and need no certificates."
    return (
        f"Carry each machine's own folder, and no other, into {folder.name} beside the rig file there, on a stick. "
        f"Keep {folder / 'authority.key'} to yourself: whoever has it can make a machine."
    )
