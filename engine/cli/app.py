"""The `bayleaf` command: its commands, and how faults reach the player.

Exit status: 0 done, 1 the rig or the request is at fault (said on stderr), 2 usage.
"""

import sys
from typing import Final

import typer

from engine.cli import (
    asking,
    backing,
    demo,
    editing,
    keeping,
    learning,
    lending,
    looking,
    networking,
    paneling,
    playing,
    rehearsing,
    sounding,
    sysex,
)
from engine.cli.say import Fault
from engine.instruments.files import DumpFault
from engine.live.client import NoEngine
from engine.ports.port import PortError
from engine.rig.load import RigError
from engine.rig.soundlist import ListFault
from filters.registry import FilterFault

_HELP: Final = "Bayleaf makes a laptop the router of a large MIDI set-up."

app = typer.Typer(help=_HELP, no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None)
playing.add_to(app)
lending.add_to(app)
asking.add_to(app)
keeping.add_to(app)
editing.add_to(app)
backing.add_to(app)
learning.add_to(app)
looking.add_to(app)
paneling.add_to(app)
rehearsing.add_to(app)
sounding.add_to(app)
sysex.add_to(app)
networking.add_to(app)
demo.add_to(app)


def main() -> None:
    """Run the command; every fault is told in plain words, never as a traceback."""
    try:
        app()
    except (Fault, RigError, ListFault, PortError, NoEngine, FilterFault, DumpFault) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:  # the reader of a pipe has gone; nothing is wrong
        sys.stderr.close()
        sys.exit(0)
