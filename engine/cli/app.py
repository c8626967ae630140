"""The `bayleaf` command: its commands, and how faults reach the player.

Exit status: 0 done, 1 the rig or the request is at fault (said on stderr) or nobody reads the output any more, 2 usage.
"""

import errno
import os
import sys
from functools import cache
from importlib import import_module
from io import TextIOWrapper
from typing import Any, Final, NoReturn

import typer
from typer.core import TyperGroup
from typer.main import get_group

from engine.user_error import UserError

_HELP: Final = "Bayleaf makes a laptop the router of a large MIDI set-up."
#: By module. Only the one that is asked for is loaded: a scene by command comes after a tenth of a second, not a half.
COMMANDS: Final = {
    "run": ("run",),
    "lend": ("lend",),
    "show_commands": (
        *("scene", "next", "back", "first", "setlist", "panic", "resend", "mute", "unmute"),
        *("clock", "timecode", "handover", "status", "watch"),
    ),
    "keep": ("keep",),
    "scenes": ("save", "scenes"),
    "diff": ("diff",),
    "backup": ("backup", "restore"),
    "learn": ("learn",),
    "look": ("ports", "new", "check", "explain"),
    "panel": ("panel",),
    "rehearse": ("rehearse",),
    "sounds": ("sounds",),
    "sysex": ("sysex",),
    "network": ("network",),
    "demo": ("demo",),
}
#: what the end of stdout may say: nobody reads it, the disk is full, or fails
_UNWRITABLE: Final = frozenset((errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO))
_KNOWN: Final = (BrokenPipeError, KeyboardInterrupt, UserError)


class _Commands(TyperGroup):
    """All commands by name; a module is loaded when a command of its own is wanted."""

    def list_commands(self, ctx: Any) -> list[str]:
        """In the order of the help."""
        return [name for names in COMMANDS.values() for name in names]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command, or None if there is none of this name."""
        for module, names in COMMANDS.items():
            if cmd_name in names:
                return commands_of(module)[cmd_name]
        return None

    def invoke(self, ctx: Any) -> Any:
        """Run it. What a command would raise without trio's tasks around it comes out bare, for it is known then."""
        try:
            return super().invoke(ctx)
        except BaseExceptionGroup as group:
            if group.split(_KNOWN)[1] is not None:
                raise
            raise _first(group) from group


def _first(fault: BaseException) -> BaseException:
    while isinstance(fault, BaseExceptionGroup):
        fault = fault.exceptions[0]
    return fault


@cache
def commands_of(module: str) -> dict[str, Any]:
    """The commands that a module adds, by name."""
    part = typer.Typer(rich_markup_mode=None)
    part.callback()(_bayleaf)  # a module with one command is a group, too
    import_module(f"engine.cli.{module}").add_to(part)
    return dict(get_group(part).commands)


app = typer.Typer(
    cls=_Commands, help=_HELP, no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None
)


@app.callback()
def _bayleaf() -> None: ...


def main() -> None:
    """Run the command; a fault is reported in plain words, and its traceback goes into the log."""
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # as on stderr: a letter that it has not is no fault
    try:
        try:
            app()
        finally:
            sys.stdout.flush()  # else a full disk would be noticed after all is over
    except UserError as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)
    except OSError as fault:
        if fault.errno not in _UNWRITABLE or fault.filename is not None:
            _end_with(fault)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left would be tried again at the end
        if fault.errno != errno.EPIPE:
            print(f"what was to be printed could not be written whole ({fault.strerror})", file=sys.stderr)
        sys.exit(1)
    except Exception as fault:
        _end_with(fault)


def _end_with(fault: Exception) -> NoReturn:
    """Log a fault of Bayleaf itself, say so in one sentence, and exit."""
    import traceback

    from engine.fault_log import faults, log_file  # here, or each command would begin later

    with faults.kept_in(faults.file or log_file("commands")):
        said = faults.record(f"running {' '.join(sys.argv[1:])}", fault)
    error = faults.status()["error"]
    if error is not None:  # the traceback would be lost
        traceback.print_exception(fault)
        said = f"a fault of Bayleaf itself; its log {faults.file} could not be written: {error}"
    print(said, file=sys.stderr)
    sys.exit(1)
