"""`bayleaf network`: makes certificates for a rig on several machines, and finds machines."""

from pathlib import Path
from typing import Annotated

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import CommandError, as_json, print_line, say, table
from engine.cluster.link import join
from engine.cluster.link.keyring import folder_of
from engine.cluster.link.link import NEEDED, LinkError
from engine.rig.models.network import Network
from engine.rig.read.load import load

network = typer.Typer(help="Set up a rig that runs on several machines.", no_args_is_help=True)


@network.command()
def keys(
    rig: RigFile,
    renew: Annotated[
        bool, typer.Option("--renew", help="Replace all certificates; the old ones become invalid.")
    ] = False,
    json: Json = False,
) -> None:
    """Make the certificates by which the machines of a rig recognize each other.

    Makes the missing ones, or all of them with --renew.

    Example: bayleaf network keys pit.toml
    """
    try:
        from engine.cluster.link.certificate_authority import exposed_keys, make_keys
    except ImportError:
        raise CommandError(NEEDED) from None
    loaded = load(rig)
    if loaded.network is None:
        raise CommandError(f"{rig} has no [network], so no machine needs a certificate")
    folder = folder_of(loaded.network, rig)
    try:
        made = make_keys(loaded.rig.name, loaded.network, folder, renew)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    except OSError as fault:
        raise CommandError(f"the certificates cannot be written: {fault.strerror}: {fault.filename}") from None
    for warning in exposed_keys(loaded.network, folder):
        say(warning)
    if json:
        as_json([{**each._asdict(), "folder": str(each.folder), "ends": each.ends.isoformat()} for each in made])
        return
    table(
        ("machine", "folder", "", "valid until"),
        [(each.machine, each.folder, "new" if each.new else "valid", f"{each.ends:%d %B %Y}") for each in made],
    )
    print_line(_what_now(loaded.network, folder))


@network.command()
def find(
    rig: Annotated[Path | None, typer.Argument(help="A rig file, to name the machines that it knows.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen.", min=0.1)] = 3.0,
    json: Json = False,
) -> None:
    """Find machines on this network that run a rig with `discover = true`, and show their addresses."""
    described = load(rig).network if rig is not None else None
    named = {machine.listen: name for name, machine in described.machines.items()} if described is not None else {}
    try:
        found = join.find(seconds)
    except LinkError as fault:
        raise CommandError(str(fault)) from None
    if json:
        as_json([{"address": address, "machine": named.get(address)} for address in found])
    elif found:
        table(("address", "machine"), [(address, named.get(address)) for address in found])
    else:
        print_line("no machine answers; they answer only if their rig has discover = true in [network]")


def _what_now(network: Network, folder: Path) -> str:
    """What the player does with the certificates."""
    if network.loopback:
        return "All these machines are on this computer; their links are plain and need no certificates."
    return (
        f"Copy each machine's own folder, and no other, into {folder.name} beside the rig file on that machine, "
        "and restart the machine: a new certificate counts, and an old one ends, when every machine was restarted. "
        f"Keep {folder / 'authority.key'} to yourself: anyone who has it can add a machine."
    )
