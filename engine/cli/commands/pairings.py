"""`bayleaf pairings`: lists the browsers that are paired with the front panel, ends one, and shows codes for more."""

import time
from datetime import datetime
from typing import Annotated

import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError, as_json, print_line, table


def pairings(
    end: Annotated[str | None, typer.Option("--end", help="End the pairing with this id.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """List the paired browsers, and show a fresh code for each kind of pairing, valid for ten minutes."""
    from engine.panel.paired_browsers import ROLES, PairedBrowsers, pairings_file
    from engine.panel.pairing import fresh_code, shown_code
    from engine.panel.pairing_display import ROLE_NAMES, pairing_text

    file = pairings_file(name)
    browsers = PairedBrowsers(file, time.time)
    try:
        if end is not None:
            if not browsers.end(end):
                raise CommandError(f'there is no pairing "{end}"; bayleaf pairings lists them')
            print_line(f"the pairing {end} is ended")
            return
        codes = {role: fresh_code() for role in ROLES}
        browsers.offer(codes)
    except OSError as fault:
        raise CommandError(f"the pairings in {file} cannot be written: {fault.strerror}") from None
    listed = browsers.listed()
    if json:
        rows = [{"id": each, "may": ROLE_NAMES[found.role], **found._asdict()} for each, found in listed.items()]
        as_json({"pairings": rows, "codes": {ROLE_NAMES[role]: shown_code(code) for role, code in codes.items()}})
        return
    rows_in_words = [
        (each, ROLE_NAMES[found.role], found.address, _time(found.since), _time(found.until))
        for each, found in listed.items()
    ]
    table(
        ("id", "may", "address", "since", "until"), rows_in_words or [("none", "", "", "", "")], title="Paired browsers"
    )
    for role, code in codes.items():
        print_line(pairing_text(role, shown_code(code), None))
    print_line("These codes work for ten minutes, at a panel that was started with --lan.")


def _time(at: float) -> str:
    return datetime.fromtimestamp(at).isoformat(" ", "minutes") if at else "unknown"
