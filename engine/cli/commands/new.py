"""`bayleaf new`: writes a first rig file."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final

import typer

from engine.cli.options import Backend
from engine.cli.output import CommandError, print_words, refuse_existing, say, write_new
from engine.live.gear.port_survey import PortAnswer, survey
from engine.plurals import counted
from engine.ports.open_system import lasting, open_system
from engine.ports.port import PortError
from engine.rig.edit.connected_ports import with_ports
from engine.rig.read.raw_data import no_such
from engine.rig.starter_rig import KINDS, patterns, starter, starter_of

_GUESS: Final = "Channel 1 is a guess for each instrument: write the channel that it is set to."
_SECONDS: Final = 0.3  # for the answer of one output; most devices take some 20 ms
_THROUGH: Final = "midi through"  # the kernel's own port, with no gear behind it (Linux, sound/core/seq/seq_dummy.c)


@dataclass
class _Connected:
    """The connected ports, as patterns that find them again, and what came back from the outputs."""

    inputs: list[str] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    answers: list[PortAnswer] = field(default_factory=list)


def new(
    file: Annotated[Path, typer.Argument(help="The rig file to write.")] = Path("rig.toml"),
    kind: Annotated[
        str | None,
        typer.Option("--kind", metavar="KIND", help=f"A ready-made rig, with your ports put in: {', '.join(KINDS)}."),
    ] = None,
    backend: Backend = None,
) -> None:
    """Write a first rig file from the connected ports.

    Asks at each output which device is there. With --kind, the connected ports are put into a ready-made rig.
    """
    if kind is not None and kind not in KINDS:
        raise CommandError(no_such("starter rig", kind, KINDS))
    refuse_existing(file)
    text, said = _from_ports(backend) if kind is None else _ready_made(kind, backend)
    write_new(file, text.encode())
    options = f" --backend {backend}" if backend else ""
    print_words(f"wrote {file}: {said}")
    print_words(f"Read it through. Next:\n  bayleaf check {file}\n  bayleaf run {file}{options}")


def _from_ports(backend: str | None) -> tuple[str, str]:
    """The rig, and what to say of it."""
    try:
        found = _connected(backend, inquire=True)
    except PortError as fault:
        raise CommandError(f"{fault}; a ready-made rig needs no ports: bayleaf new --kind theatre-pit") from None
    devices = {answer.output: _in_words(answer) for answer in found.answers if answer.identity is not None}
    loops = {(answer.output, answer.input) for answer in found.answers if answer.identity is None}
    text = starter(found.inputs, found.outputs, devices, loops)
    ports = f"{counted(len(found.inputs), 'input')}, {counted(len(found.outputs), 'output')}"
    return text, f"{ports}, {counted(len(devices), 'device')} identified\n{_GUESS}"


def _in_words(answer: PortAnswer) -> str:
    assert answer.identity is not None
    known = answer.identity.plain()
    words = ", ".join(f"{key} {known[key]}" for key in ("manufacturer", "family", "member", "version"))
    return f'a device answered at "{answer.input}": {words}'


def _ready_made(kind: str, backend: str | None) -> tuple[str, str]:
    text = starter_of(kind)
    try:
        found = _connected(backend, inquire=False)
    except PortError as fault:
        return text, f"its ports are invented names to be replaced ({fault})"
    text, put = with_ports(text, found.inputs, found.outputs)
    if not put:
        return text, "its ports are invented names to be replaced; no MIDI port is connected"
    listed = "".join(f"\n  {place} is {port}" for place, port in put.items())
    return text, f"these of its ports are connected; the others have invented names to be replaced:{listed}"


def _connected(backend: str | None, inquire: bool) -> _Connected:
    """Raises PortError."""
    system = open_system(backend, "bayleaf", say)
    try:
        inputs, outputs = _gear(system.inputs()), _gear(system.outputs())
        if inquire and inputs and outputs:
            say(f"asking at {counted(len(outputs), 'output')} which device is there …")
        answers = survey(system, inputs, outputs, _SECONDS) if inquire and inputs else []
    finally:
        system.close()
    heard, played = (dict(zip(names, patterns(lasting(backend, names)), strict=True)) for names in (inputs, outputs))
    renamed = [PortAnswer(played[each.output], heard[each.input], each.identity) for each in answers]
    return _Connected(list(heard.values()), list(played.values()), renamed)


def _gear(names: Sequence[str]) -> list[str]:
    return [name for name in names if name.strip() and not name.lower().startswith(_THROUGH)]
