"""`bayleaf sysex`: identifies instruments; receives, sends, verifies and compares dumps of their memory."""

import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Final

import platformdirs
import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError, as_json, print_line, say, say_over, table
from engine.cli.requests import show
from engine.instruments import checksums, dump_comparison, dump_files, dump_versions, sidecar
from engine.live.socket import client
from engine.midi.message_words import from_hex
from engine.plurals import counted

_PATIENCE: Final = 3700.0  # seconds without a line from the engine: longer than it waits for an instrument
_MOST_SENT: Final = 3 << 20  # bytes; a request has at most 8 MB, and a byte takes two of its characters
_DIN_BYTES: Final = 3125  # per second (MIDI 1.0 p. 1)
_SHOWN: Final = 20  # differences

Request = Annotated[
    str | None, typer.Option("--request", metavar="HEX", help="SysEx message, in hexadecimal, that requests the dump.")
]
Of = Annotated[
    str | None,
    typer.Option("--of", metavar="INSTRUMENT", help="Request the dump of this instrument, with its `request`."),
]
Silence = Annotated[
    float, typer.Option("--silence", metavar="SECONDS", help="Seconds of silence that end the dump.", min=0.1)
]
Wait = Annotated[
    float, typer.Option("--wait", metavar="SECONDS", help="Seconds to wait for the first message.", min=0.1)
]
Gap = Annotated[float, typer.Option("--gap", metavar="MS", help="Milliseconds to pause after each message.", min=0)]
Chunk = Annotated[int | None, typer.Option("--chunk", metavar="BYTES", help="Pause only after this many bytes.", min=1)]
Handshake = Annotated[bool, typer.Option("--handshake", help="Wait for the instrument's ACK after each message.")]
Answers = Annotated[
    str | None, typer.Option("--answers", metavar="INPUT", help="The input that receives its ACK. Default: any.")
]
First = Annotated[int, typer.Option("--from", metavar="NUMBER", help="Start with this message, counted from 1.", min=1)]
Keep = Annotated[
    str | None,
    typer.Option("--keep", metavar="INSTRUMENT", help="Also keep the dump as the next version of this instrument."),
]


sysex = typer.Typer(help="Identify instruments; receive, send and compare their dumps.", no_args_is_help=True)


@sysex.command()
def identify(
    outputs: Annotated[list[str] | None, typer.Argument(help="Outputs to ask. Default: all.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen after each request.", min=0.05)] = 0.5,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Ask every device to identify itself, and show which output and input belong to it. The show goes on."""
    request = {"do": "sysex", "what": "identify", "outputs": outputs or [], "seconds": seconds}
    answer = _converse(name, request, quiet=True)
    if json:
        as_json(answer["rows"])
        return
    table(
        ("output", "input", "maker", "family", "member", "version", "id", "result"),
        [(row["output"], row["input"], *_identity_cells(row["identity"]), row["text"]) for row in answer["rows"]],
    )


@sysex.command()
def receive(
    input: Annotated[str, typer.Argument(help="The input that the instrument is connected to.")],
    file: Annotated[Path, typer.Argument(help="A new file that ends in .syx or .mid.")],
    request: Request = None,
    output: Annotated[str | None, typer.Option("--output", help="The output that the request is sent to.")] = None,
    of: Of = None,
    silence: Silence = 2.0,
    wait: Wait = 60.0,
    keep: Keep = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Receive a dump from an instrument into a file, until it is silent. Its messages are not routed meanwhile.

    Example: bayleaf sysex receive keys dump.syx
    """
    sidecar.refuse(file)
    if keep is not None:
        _next_version(keep)  # an impossible name is reported before the instrument is asked
    asked = _asked(request, output, of)
    messages, answer = _received(name, input, asked, silence, wait, quiet=json)
    _undamaged(messages, f"what {input} received", "nothing was written; receive it again")
    note = sidecar.keep(file, messages, input, _now(), _more(answer, keep or of))
    _keep_version(messages, input, answer, keep)
    if json:
        as_json(note)
        return
    print_line(f"{_size(messages)} from {input} in {file}")
    if answer["longest"] > silence * _DIN_BYTES:
        needed = answer["longest"] / _DIN_BYTES + 1
        print_line(
            f"its longest message takes {needed - 1:.1f} s on a DIN cable, which looks like silence meanwhile; "
            f"to be sure that nothing is missing, receive the dump again with --silence {needed:.0f}"
        )


@sysex.command()
def send(
    file: Annotated[Path, typer.Argument(help="The dump: a .syx or .mid file.")],
    output: Annotated[str, typer.Argument(help="The output that the instrument is connected to.")],
    gap: Gap = 0.0,
    chunk: Chunk = None,
    handshake: Handshake = False,
    answers: Answers = None,
    first: First = 1,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Send a dump no faster than the cable carries it. The music goes on; Ctrl-C stops after the current message.

    Example: bayleaf sysex send dump.syx strings
    """
    messages = dump_files.read(file)
    _undamaged(messages, str(file), "nothing was sent")
    show(_sent(name, messages, output, _pace(gap, chunk, handshake, answers, first), quiet=json), json)


@sysex.command()
def verify(
    file: Annotated[Path, typer.Argument(help="The dump: a .syx or .mid file.")],
    output: Annotated[str, typer.Argument(help="The output that the instrument is connected to.")],
    input: Annotated[str, typer.Argument(help="The input that receives its answer.")],
    request: Request = None,
    of: Of = None,
    silence: Silence = 2.0,
    wait: Wait = 60.0,
    keep: Keep = None,
    gap: Gap = 0.0,
    chunk: Chunk = None,
    handshake: Handshake = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Send a dump, request it back, and show where the two differ. Status 1 if they do.

    Example: bayleaf sysex verify dump.syx strings keys --of string-machine
    """
    sent, asked = dump_files.read(file), _asked(request, output if request is not None else None, of)
    if not asked:
        raise typer.BadParameter("verify needs a way to request the dump: --request, or --of INSTRUMENT")
    if keep is not None:
        _next_version(keep)
    _sent(name, sent, output, _pace(gap, chunk, handshake, input if handshake else None, 1), quiet=json)
    back, answer = _received(name, input, asked, silence, wait, quiet=json)
    _keep_version(back, input, answer, keep)
    _show_differences(sent, back, json, "the instrument returned exactly what was sent")


@sysex.command()
def compare(
    first: Annotated[Path, typer.Argument(help="A .syx or .mid file.")],
    second: Annotated[Path, typer.Argument(help="Another .syx or .mid file.")],
    json: Json = False,
) -> None:
    """Show which messages of two dumps differ. Status 0 if none, 1 if some do, 2 if a file cannot be read.

    Example: bayleaf sysex compare monday.syx friday.syx
    """
    try:
        dumps = dump_files.read(first), dump_files.read(second)
    except dump_files.DumpFileError as fault:
        say(str(fault))
        raise typer.Exit(2) from None
    _show_differences(*dumps, json, "the dumps are equal")


def _show_differences(first: Sequence[bytes], second: Sequence[bytes], json: bool, equal: str) -> None:
    found = dump_comparison.differences(first, second)
    if json:
        as_json({"equal": not found, "differences": [each._asdict() for each in found]})
    elif not found:
        print_line(f"{equal}: {_size(first)}")
    else:
        for each in found[:_SHOWN]:
            print_line(each.text)
        if len(found) > _SHOWN:
            print_line(f"and {len(found) - _SHOWN} more")
    if found:
        raise typer.Exit(1)


def _undamaged(messages: Sequence[bytes], where: str, so: str) -> None:
    """Raise CommandError if a packet of a standard dump has a wrong checksum."""
    damaged = checksums.first_damaged(messages)
    if damaged is not None:
        raise CommandError(f"{where}: message {damaged + 1} is damaged (its checksum is wrong); {so}")


def _received(
    name: str, input: str, asked: dict[str, str], silence: float, wait: float, quiet: bool
) -> tuple[list[bytes], dict[str, Any]]:
    request: dict[str, Any] = {"do": "sysex", "what": "receive", "input": input, "silence": silence, "wait": wait}
    messages: list[bytes] = []
    answer = _converse(name, request | asked, quiet, messages)
    return messages, answer


def _sent(name: str, messages: Sequence[bytes], output: str, pace: dict[str, Any], quiet: bool) -> dict[str, Any]:
    size = sum(map(len, messages))
    if size > _MOST_SENT:
        raise CommandError(f"the dump has {size:,} bytes; {_MOST_SENT:,} can be sent in one go; split the file")
    listed = [message.hex() for message in messages]
    return _converse(name, {"do": "sysex", "what": "send", "output": output, "messages": listed, **pace}, quiet)


def _pace(gap: float, chunk: int | None, handshake: bool, answers: str | None, first: int) -> dict[str, Any]:
    return {"gap": gap / 1000, "chunk": chunk, "handshake": handshake, "answers": answers, "from": first}


def _converse(name: str, request: dict[str, Any], quiet: bool, messages: list[bytes] | None = None) -> dict[str, Any]:
    """The last line of the answer; the messages of the lines before are appended. Raises CommandError if refused."""
    shown = not quiet and sys.stderr.isatty()
    for line in client.converse(name, request, _PATIENCE):
        if "done" in line:
            if shown:
                say_over("")
            if not line["done"]:
                raise CommandError(line["text"])
            return line
        if messages is not None:
            messages += map(bytes.fromhex, line.get("messages", ()))
        if shown:
            say_over(_in_words(line["progress"]))
    raise AssertionError("an answer has a last line")


def _in_words(progress: dict[str, Any]) -> str:
    if "of" not in progress:
        return f"{counted(progress['messages'], 'message')}, {counted(progress['bytes'], 'byte')}"
    done = (
        f"{progress['messages']} of {progress['of']} messages, {progress['bytes']:,} of {progress['of_bytes']:,} bytes"
    )
    return f"{done}, {progress['left_s']:.0f} s left"


def _asked(request: str | None, output: str | None, of: str | None) -> dict[str, str]:
    """How the dump is requested, in the keys of the engine's request; nothing if it is not requested."""
    if of is not None and request is not None:
        raise typer.BadParameter("--of and --request are two ways to request the dump; give one of them")
    if of is not None:
        return {"instrument": of}
    if (request is None) != (output is None):
        raise typer.BadParameter("--request and --output go together: what to send, and where")
    if request is None or output is None:
        return {}
    try:
        return {"request": from_hex(request).hex(), "output": output}
    except ValueError as fault:
        raise typer.BadParameter(str(fault), param_hint="--request") from None


def _keep_version(messages: Sequence[bytes], input: str, answer: dict[str, Any], instrument: str | None) -> None:
    if instrument is None:
        return
    path = _next_version(instrument)
    sidecar.keep(path, messages, input, _now(), _more(answer, instrument))
    say(f"kept as {path}")


def _next_version(instrument: str) -> Path:
    return dump_versions.next_version(Path(platformdirs.user_state_dir("bayleaf")) / "dumps", instrument)


def _more(answer: dict[str, Any], instrument: str | None) -> dict[str, Any]:
    return {"instrument": instrument, **{key: answer.get(key) for key in ("identity", "request", "output")}}


def _now() -> datetime:
    return datetime.now().astimezone()


def _size(messages: Sequence[bytes]) -> str:
    return f"{counted(len(messages), 'message')}, {counted(sum(map(len, messages)), 'byte')}"


def _identity_cells(identity: dict[str, Any] | None) -> tuple[object, ...]:
    keys = ("manufacturer", "family", "member", "version", "device")
    return tuple(identity[key] for key in keys) if identity else ("",) * len(keys)
