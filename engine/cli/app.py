"""The `bayleaf` command: finds its commands, and reports errors to the player.

Exit status: 0 done; 1 the rig or the request is at fault (reported on stderr), or the output cannot be written;
2 usage.
"""

import errno
import os
import re
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from importlib import import_module
from io import TextIOWrapper
from typing import Annotated, Any, Final, NoReturn

import typer
from typer.core import TyperGroup
from typer.main import get_group

from engine.cli import commands
from engine.cli.output import clean, print_line, say
from engine.user_error import UserError

_HELP: Final = """Bayleaf makes a laptop the router of a large MIDI set-up.

The first step: `bayleaf` alone opens a page in the browser, where a rig is made, played and saved. Or `bayleaf new`
writes a rig from the connected ports, `bayleaf check rig.toml` checks it, and `bayleaf run rig.toml` plays it. Without
any gear, `bayleaf demo` shows what it does.
"""
#: the commands by what they are for, in the order of the help; the modules beside this one in `commands`
GROUPS: Final = {
    "Set up": ("demo", "new", "ports", "check", "explain", "rehearse", "diff", "simplify"),
    "Play": (
        *("run", "panel", "pairings", "scene", "next", "back", "first", "setlist", "song"),
        *("transpose", "panic", "resend", "mute", "unmute", "clock", "timecode"),
    ),
    "Look": ("status", "watch", "help"),
    "Keep": ("save", "scenes", "keep", "backup", "restore"),
    "Gear": ("sounds", "learn", "sysex"),
    "Network": ("network", "lend", "handover"),
}
#: how writing to stdout may fail: the reader has gone, or the disk is full or broken
_UNWRITABLE: Final = frozenset((errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO))
#: what is wrong with an option or argument, in the words of pydantic, and in ours
_USAGE: Final = (
    ("Input should be a valid integer, unable to parse string as an integer", "must be a whole number"),
    ("Input should be a valid number, unable to parse string as a number", "must be a number"),
    ("Input should be greater than or equal to ", "must be at least "),
    ("Input should be less than or equal to ", "must be at most "),
    ("Input should be ", "must be "),
)
_EXAMPLE: Final = re.compile(r"^Example: +(.+)$", re.MULTILINE)  # in a command's help
_KNOWN: Final = (BrokenPipeError, KeyboardInterrupt, UserError)


class _Group(TyperGroup):
    """Commands that belong together; the help has one whole sentence for each."""

    def sections(self) -> dict[str, Sequence[str]]:
        """The names of the commands by the headings above them."""
        return {"Commands": list(self.commands)}

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands."""
        found = {
            title: [(name, self.get_command(ctx, name)) for name in names] for title, names in self.sections().items()
        }
        width = max(len(name) for listed in found.values() for name, _ in listed)
        for title, listed in found.items():
            with formatter.section(title):
                formatter.write_dl([(f"{name:{width}}", _sentence(each)) for name, each in listed])


class _Commands(_Group):
    """All commands by name. Each is the function or group of its own name in `engine/cli/commands/NAME.py`, and only
    the command that is called is imported: a scene recalled by command comes after a tenth of a second, not a half."""

    def list_commands(self, ctx: Any) -> list[str]:
        """In the order of the help."""
        return command_names()

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command, or None if there is none of this name."""
        return command(cmd_name) if cmd_name in command_names() else None

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The command that is meant. An unknown one ends with the nearest name."""
        if args and not args[0].startswith("-") and args[0] not in command_names():
            near = get_close_matches(args[0], command_names(), 1)
            meant = f'did you mean "{near[0]}"? ' if near else ""
            ctx.fail(f'there is no command "{clean(args[0])}"; {meant}bayleaf --help lists all of them')
        return super().resolve_command(ctx, args)

    def sections(self) -> dict[str, Sequence[str]]:
        """By what they are for."""
        return {**GROUPS}

    def invoke(self, ctx: Any) -> Any:
        """Run the command. A known error that trio has wrapped in a group is raised on its own."""
        try:
            return super().invoke(ctx)
        except typer.BadParameter as fault:
            if not fault.message:  # an argument is missing
                say(_needed(fault))
                raise typer.Exit(2) from None
            for programmers, players in _USAGE:
                fault.message = fault.message.replace(programmers, players)
            fault.message = clean(fault.message)
            raise
        except BaseExceptionGroup as group:
            if group.split(_KNOWN)[1] is not None:
                raise
            raise _first(group) from group


def _first(fault: BaseException) -> BaseException:
    while isinstance(fault, BaseExceptionGroup):
        fault = fault.exceptions[0]
    return fault


def _sentence(found: Any) -> str:
    """What a command does, in one sentence."""
    return str(found.help).strip().split("\n\n")[0].replace("\n", " ")


def _needed(fault: Any) -> str:
    """What a command needs that was not given, with its own example."""
    path, what = fault.ctx.command_path, fault.param
    needed = f"{path} needs {what.metavar}: {what.help[0].lower()}{what.help[1:]}"
    example = _EXAMPLE.search(fault.ctx.command.help or "")
    shown = f"\nFor example:  {example[1]}" if example else ""
    return f"{needed}{shown}\nAll options:  {path} --help"


def command_names() -> list[str]:
    """The names of the commands, in the order of the help; nothing is imported for that."""
    return [name for names in GROUPS.values() for name in names]


def command(name: str) -> Any:
    """The command of this name, its module imported."""
    found = getattr(import_module(f"{commands.__name__}.{name}"), name)
    part = typer.Typer(rich_markup_mode=None)
    part.callback()(_bayleaf)  # so that a single command makes a group, too
    if isinstance(found, typer.Typer):
        part.add_typer(found, name=name, cls=_Group)
    else:
        part.command(name)(found)
    made = get_group(part).commands[name]
    for each in (made, *getattr(made, "commands", {}).values()):
        for value in each.params:
            if value.metavar is None and not getattr(value, "is_flag", False):
                value.metavar = max(value.opts, key=len).lstrip("-").replace("-", "_").upper()
            if value.param_type_name == "argument" and (getattr(value, "min", None) or 0) < 0:
                each.context_settings["ignore_unknown_options"] = True  # -1 is a number here, not an option
    return made


app = typer.Typer(cls=_Commands, help=_HELP, pretty_exceptions_enable=False, rich_markup_mode=None)


def _show_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version  # here, or each command would begin later

        from engine.which_build import build_in_words

        print_line(f"bayleaf {version('bayleaf')} ({build_in_words()})")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _bayleaf(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            is_eager=True,
            callback=_show_version,
            help="Show the version and the build.",
        ),
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        command("run").main([], prog_name="bayleaf run", standalone_mode=False)


def main() -> None:
    """Run the command. Errors are reported in a sentence; the traceback of an unexpected one goes to the log."""
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # as on stderr: escapes for letters it cannot show
    try:
        try:
            app(prog_name="bayleaf")
        finally:
            sys.stdout.flush()  # here, or a full disk would be noticed too late
    except UserError as fault:
        say(str(fault))
        sys.exit(1)
    except OSError as fault:
        if fault.errno not in _UNWRITABLE or fault.filename is not None:
            _end_with(fault)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python would try to write the rest at exit
        if fault.errno != errno.EPIPE:
            say(f"the output could not be written completely ({fault.strerror})")
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
        say("".join(traceback.format_exception(fault)))
        said = f"a fault of Bayleaf itself; its log {faults.file} could not be written: {error}"
    say(said)
    sys.exit(1)
