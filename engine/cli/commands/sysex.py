"""`bayleaf sysex`: who is there, dumps of the gear's memory received, sent, verified and compared."""

import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Final

import platformdirs
import typer

from engine.cli.output import CommandError, Json, Name, as_json, table
from engine.instruments import checksums, dump_comparison, dump_files, dump_versions, sidecar
from engine.live.socket import client
from engine.midi.message_words import from_hex

_PATIENCE: Final = 3700.0  # seconds without a word from the engine: longer than it waits for an instrument
_MOST_SENT: Final = 3 << 20  # bytes; a request to the engine has 8 MB, and takes two for each byte
_DIN_BYTES: Final = 3125  # a second (MIDI 1.0 p. 1)
_TOLD: Final = 20  # differences

Request = Annotated[str | None, typer.Option("--request", help="A SysEx in hexadecimal that asks for the dump.")]
Of = Annotated[str | None, typer.Option("--of", help="Ask this instrument, by the request that the rig has for it.")]
Silence = Annotated[float, typer.Option("--silence", help="Seconds after the last message that end it.", min=0.1)]
Wait = Annotated[float, typer.Option("--wait", help="Seconds until the first message must be here.", min=0.1)]
Gap = Annotated[float, typer.Option("--gap", help="Milliseconds of rest after each message.", min=0)]
Chunk = Annotated[int | None, typer.Option("--chunk", help="Rest only once so many bytes have gone.", min=1)]
Handshake = Annotated[bool, typer.Option("--handshake", help="Wait for the instrument's ACK after each message.")]
Answers = Annotated[str | None, typer.Option("--answers", help="The input its ACK comes from; any by default.")]
First = Annotated[int, typer.Option("--from", help="Begin with this message, from 1.", min=1)]
Keep = Annotated[str | None, typer.Option("--keep", help="Keep it as this instrument's next version as well.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    group = typer.Typer(help="The gear's own memory: identify, receive, send, verify, compare.", no_args_is_help=True)
    for command in (identify, receive, send, verify, compare):
        group.command(command.__name__)(command)
    app.add_typer(group, name="sysex")


def identify(
    outputs: Annotated[list[str] | None, typer.Argument(help="Outputs to ask at; all by default.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen after each.", min=0.05)] = 0.5,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Ask every device who it is, and tell which output and input belong to it. The show goes on."""
    request = {"do": "sysex", "what": "identify", "outputs": outputs or [], "seconds": seconds}
    answer = _converse(name, request, quiet=True)
    if json:
        as_json(answer["rows"])
        return
    table(
        ("output", "input", "maker", "family", "member", "version", "id", ""),
        [(row["output"], row["input"], *_identity_cells(row["identity"]), row["text"]) for row in answer["rows"]],
    )


def receive(
    input: Annotated[str, typer.Argument(help="The rig's name of the input the instrument is on.")],
    file: Annotated[Path, typer.Argument(help="A new file that ends in .syx or .mid.")],
    request: Request = None,
    output: Annotated[str | None, typer.Option("--output", help="Where the request goes.")] = None,
    of: Of = None,
    silence: Silence = 2.0,
    wait: Wait = 60.0,
    keep: Keep = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Write down what an instrument sends of its memory, until it is silent. Meanwhile it takes no routes."""
    sidecar.refuse(file)
    if keep is not None:
        _next_version(keep)  # refused before the instrument is asked
    asked = _asked(request, output, of)
    messages, answer = _received(name, input, asked, silence, wait, quiet=json)
    _undamaged(messages, f"what came from {input}", "nothing was written; receive it again")
    note = sidecar.keep(file, messages, input, _now(), _more(answer, keep or of))
    if keep is not None:
        _keep_version(messages, input, answer, keep)
    if json:
        as_json(note)
        return
    print(f"{_counted(messages)} from {input} in {file}")
    if answer["longest"] > silence * _DIN_BYTES:
        needed = answer["longest"] / _DIN_BYTES + 1
        print(
            f"its longest message takes {needed - 1:.1f} s on a DIN cable, which looks like silence until it is whole; "
            f"to be sure that nothing is missing, receive it again with --silence {needed:.0f}"
        )


def send(
    file: Annotated[Path, typer.Argument(help="The dump: a .syx or .mid file.")],
    output: Annotated[str, typer.Argument(help="The rig's name of the output the instrument is on.")],
    gap: Gap = 0.0,
    chunk: Chunk = None,
    handshake: Handshake = False,
    answers: Answers = None,
    first: First = 1,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Send a dump at the pace of the wire, until its last byte is on it. The music goes on; Ctrl-C stops in between."""
    messages = dump_files.read(file)
    _undamaged(messages, str(file), "nothing was sent")
    answer = _sent(name, messages, output, _pace(gap, chunk, handshake, answers, first), quiet=json)
    if json:
        as_json(answer)
        return
    print(answer["text"])


def verify(
    file: Annotated[Path, typer.Argument(help="The dump: a .syx or .mid file.")],
    output: Annotated[str, typer.Argument(help="The output the instrument is on.")],
    input: Annotated[str, typer.Argument(help="The input it answers at.")],
    request: Request = None,
    of: Of = None,
    gap: Gap = 0.0,
    chunk: Chunk = None,
    handshake: Handshake = False,
    silence: Silence = 2.0,
    wait: Wait = 60.0,
    keep: Keep = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Send a dump, ask for it back, and show where the two differ. Status 1 if they do."""
    sent, asked = dump_files.read(file), _asked(request, output if request is not None else None, of)
    if not asked:
        raise typer.BadParameter("verify needs what asks for the dump: --request, or --of an instrument")
    if keep is not None:
        _next_version(keep)
    _sent(name, sent, output, _pace(gap, chunk, handshake, input if handshake else None, 1), quiet=json)
    back, answer = _received(name, input, asked, silence, wait, quiet=json)
    if keep is not None:
        _keep_version(back, input, answer, keep)
    _show_differences(sent, back, json, "what came back is what was sent")


def compare(
    first: Annotated[Path, typer.Argument(help="A .syx or .mid file.")],
    second: Annotated[Path, typer.Argument(help="Another one.")],
    json: Json = False,
) -> None:
    """Show which messages of two dumps differ. Status 0 if none, 1 if some do, 2 if a file cannot be read."""
    try:
        dumps = dump_files.read(first), dump_files.read(second)
    except dump_files.DumpFileError as fault:
        print(fault, file=sys.stderr)
        raise typer.Exit(2) from None
    _show_differences(*dumps, json, "the dumps are equal")


def _show_differences(first: Sequence[bytes], second: Sequence[bytes], json: bool, equal: str) -> None:
    found = dump_comparison.differences(first, second)
    if json:
        as_json({"equal": not found, "differences": [each._asdict() for each in found]})
    elif not found:
        print(f"{equal}: {_counted(first)}")
    else:
        for each in found[:_TOLD]:
            print(each.text)
        if len(found) > _TOLD:
            print(f"and {len(found) - _TOLD} more")
    if found:
        raise typer.Exit(1)


def _undamaged(messages: Sequence[bytes], where: str, so: str) -> None:
    """Raise Fault if a packet of a standard dump has a checksum that is not its own."""
    damaged = checksums.first_damaged(messages)
    if damaged is not None:
        raise CommandError(f"{where}: message {damaged + 1} is damaged, for its checksum is wrong; {so}")


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
        raise CommandError(f"the dump has {size:,} bytes; {_MOST_SENT:,} can be sent at once, so split the file")
    listed = [message.hex() for message in messages]
    return _converse(name, {"do": "sysex", "what": "send", "output": output, "messages": listed, **pace}, quiet)


def _pace(gap: float, chunk: int | None, handshake: bool, answers: str | None, first: int) -> dict[str, Any]:
    return {"gap": gap / 1000, "chunk": chunk, "handshake": handshake, "answers": answers, "from": first}


def _converse(name: str, request: dict[str, Any], quiet: bool, messages: list[bytes] | None = None) -> dict[str, Any]:
    """The last line of the answer; messages that come before it are gathered. Raises Fault if it was not done."""
    shown = not quiet and sys.stderr.isatty()
    for line in client.converse(name, request, _PATIENCE):
        if "done" in line:
            if shown:
                print("\r\033[K", end="", file=sys.stderr, flush=True)
            if not line["done"]:
                raise CommandError(line["text"])
            return line
        if messages is not None:
            messages += map(bytes.fromhex, line.get("messages", ()))
        if shown:
            print(f"\r\033[K{_in_words(line['progress'])}", end="", file=sys.stderr, flush=True)
    raise AssertionError("an answer has a last line")


def _in_words(progress: dict[str, Any]) -> str:
    if "of" not in progress:
        return f"{progress['messages']} messages, {progress['bytes']:,} bytes"
    done = (
        f"{progress['messages']} of {progress['of']} messages, {progress['bytes']:,} of {progress['of_bytes']:,} bytes"
    )
    return f"{done}, {progress['left_s']:.0f} s left"


def _asked(request: str | None, output: str | None, of: str | None) -> dict[str, str]:
    """What asks for a dump, as the engine wants it said; nothing if nobody asks."""
    if of is not None and request is not None:
        raise typer.BadParameter("--of and --request both say what is asked; give one of them")
    if of is not None:
        return {"instrument": of}
    if (request is None) != (output is None):
        raise typer.BadParameter("--request and --output go together: the one says what is asked, the other where")
    if request is None or output is None:
        return {}
    try:
        return {"request": from_hex(request).hex(), "output": output}
    except ValueError as fault:
        raise typer.BadParameter(str(fault), param_hint="--request") from None


def _keep_version(messages: Sequence[bytes], input: str, answer: dict[str, Any], instrument: str) -> None:
    path = _next_version(instrument)
    sidecar.keep(path, messages, input, _now(), _more(answer, instrument))
    print(f"kept as {path}", file=sys.stderr)


def _next_version(instrument: str) -> Path:
    return dump_versions.next_version(Path(platformdirs.user_state_dir("bayleaf")) / "dumps", instrument)


def _more(answer: dict[str, Any], instrument: str | None) -> dict[str, Any]:
    return {"instrument": instrument, **{key: answer.get(key) for key in ("identity", "request", "output")}}


def _now() -> datetime:
    return datetime.now().astimezone()


def _counted(messages: Sequence[bytes]) -> str:
    count = "1 message" if len(messages) == 1 else f"{len(messages):,} messages"
    return f"{count}, {sum(map(len, messages)):,} bytes"


def _identity_cells(identity: dict[str, Any] | None) -> tuple[object, ...]:
    keys = ("manufacturer", "family", "member", "version", "device")
    return tuple(identity[key] for key in keys) if identity else ("",) * len(keys)
