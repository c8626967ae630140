"""Commands that look without playing: ports, new, check, explain."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer

from engine.cli.output import Backend, CommandError, Json, as_json, counted, table, write_new
from engine.cli.scene_names import scene_of
from engine.core.cable.program_burst import compile_burst, compile_step, duration, size
from engine.core.cable.scheduler import DIN, DIN_RUNNING
from engine.core.routing.explain import Explanation, RouteVerdict, called, shown
from engine.core.routing.explain import explain as explain_message
from engine.midi.message_words import describe, from_hex, to_hex
from engine.midi.setup_words import set_up
from engine.offline.cable_forecast import DENSITY, warnings
from engine.offline.signal_flow import FlowVerdict as FlowVerdict
from engine.offline.signal_flow import flow
from engine.ports.open_system import lasting, open_system
from engine.rig.edit.differences import step_in_words
from engine.rig.models.rig import Rig, Scene
from engine.rig.read.load import load
from engine.rig.starter_rig import KINDS, starter, starter_of
from filters.registry import Later


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    for command in (ports, new, check, explain):
        app.command(command.__name__)(command)


def ports(backend: Backend = None, json: Json = False) -> None:
    """List the MIDI ports of this system."""
    inputs, outputs = _ports(backend)
    if json:
        as_json({"inputs": inputs, "outputs": outputs})
        return
    for title, names in (("Inputs (what can be heard)", inputs), ("Outputs (what can be played to)", outputs)):
        table(("name",), [(name,) for name in names] or [("none found",)], title=title)


def new(
    file: Annotated[Path, typer.Argument(help="The rig file to write.")] = Path("rig.toml"),
    kind: Annotated[str | None, typer.Option("--kind", help=f"A ready one instead: {', '.join(KINDS)}.")] = None,
    backend: Backend = None,
) -> None:
    """Write a starter rig from the ports that are connected, or one of a kind."""
    if kind is not None and kind not in KINDS:
        raise CommandError(f'there is no starter rig "{kind}"; there are: {", ".join(KINDS)}')
    text = starter_of(kind) if kind is not None else starter(*(lasting(backend, names) for names in _ports(backend)))
    write_new(file, text.encode())
    print(f"wrote {file}; look it over, then: bayleaf check {file}")


def _ports(backend: str | None) -> tuple[list[str], list[str]]:
    system = open_system(backend, "bayleaf")
    try:
        return system.inputs(), system.outputs()
    finally:
        system.close()


def check(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    density: Annotated[
        int, typer.Option("--density", min=0, help="Messages a second that each input is reckoned with.")
    ] = DENSITY,
    json: Json = False,
) -> None:
    """Check a rig file; show what each scene's burst costs on each output, and where a cable can be too full."""
    loaded = load(rig)
    told = list(warnings(loaded, density))
    rows = [row for scene in loaded.scenes for row in _burst_rows(loaded, scene)]
    if json:
        keys = ("number", "scene", "output", "steps", "bytes", "wire_ms", "ms")
        bursts = [dict(zip(keys, row, strict=True)) for row in rows]
        setups = _setup_rows(loaded)
        parts = ("number", "instrument", "sound", "messages")
        named = [dict(zip(parts, row, strict=True)) for row in _sound_rows(loaded)]
        as_json(
            {
                "rig": loaded.rig.name,
                "setup": setups,
                "sounds": named,
                "bursts": bursts,
                "density": density,
                "warnings": told,
            }
        )
        return
    print(
        f"{rig} is in order: {counted(len(loaded.inputs), 'input')}, {counted(len(loaded.outputs), 'output')}, "
        f"{counted(len(loaded.instruments), 'instrument')}, {counted(len(loaded.scenes), 'scene')}"
    )
    table(
        ("no.", "scene", "output", "steps", "bytes", "on the wire", "ready after"),
        [(*row[:5], *(f"{each:.2f} ms" for each in row[5:])) for row in rows],
        title="What each scene sends, and when its instruments are ready",
    )
    if setups := _setup_rows(loaded):
        table(
            ("instrument", "words", "bytes"),
            [(one["instrument"], one["words"], one["messages"]) for one in setups],
            title="What is sent at the start and when an output is back",
        )
    table(("no.", "instrument", "sound", "bytes"), _sound_rows(loaded), title="The sounds of each scene")
    for text in told:
        print(f"note: {text}")


def _sound_rows(rig: Rig) -> list[tuple[int, str, str, str]]:
    return [
        (scene.number, *step_in_words(rig, step), _listed(compile_step(rig, step)[1].unit))
        for scene in rig.scenes
        for step in scene.burst
        if not step.blank
    ]


def _listed(messages: Iterable[bytes]) -> str:
    return ", ".join(map(to_hex, messages))


def _setup_rows(rig: Rig) -> list[dict[str, str]]:
    return [
        {
            "instrument": name,
            "words": line,
            "messages": _listed(set_up(line, gear.channel - 1).messages),
        }
        for name, gear in rig.instruments.items()
        for line in gear.setup
    ]


def _burst_rows(rig: Rig, scene: Scene) -> list[tuple[int, str, str, int, int, float, float]]:
    """Number, scene, output, steps, bytes, their time on the wire and until the last instrument has settled (ms)."""
    names = list(rig.outputs)
    rows = []
    for output, steps in compile_burst(rig, scene, {name: index for index, name in enumerate(names)}).items():
        name = names[output]
        speed = None
        if rig.outputs[name].wire == "din":
            speed = DIN_RUNNING if rig.outputs[name].running_status else DIN
        sent = size(steps, speed)
        on_wire = 0.0 if speed is None else round(sent * speed.byte_ns / 1e6, 2)
        rows.append((scene.number, scene.name, name, len(steps), sent, on_wire, round(duration(steps, speed) / 1e6, 2)))
    return rows


def explain(
    rig: Annotated[Path, typer.Argument(help="The rig file.")],
    message: Annotated[
        list[str] | None, typer.Argument(metavar="HEX...", help="One message, such as 90 3C 40.")
    ] = None,
    input: Annotated[str | None, typer.Option("--input", help="The rig's name of the input it comes from.")] = None,
    scene: Annotated[str | None, typer.Option("--scene", help="Number or name; the first scene by default.")] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="OUT.svg", help="Draw the scene's signal flow into a new file.")
    ] = None,
    json: Json = False,
) -> None:
    """Say what each route makes of one message, filter by filter, and what each output gets."""
    if not (message and input) and (message or input or picture is None):
        raise typer.BadParameter("give --input and one message in hexadecimal, or --picture", param_hint="HEX...")
    loaded = load(rig)
    chosen = loaded.scenes[0] if scene is None else scene_of(loaded, scene, rig)
    if not message or input is None:
        assert picture is not None
        _draw(picture, flow(loaded, chosen, {}))
        if json:
            as_json({"scene": {"number": chosen.number, "name": chosen.name}, "picture": str(picture)})
        else:
            print(f"drew scene {chosen.number} {chosen.name} in {picture}")
        return
    if input not in loaded.inputs:
        raise CommandError(f'there is no input "{input}" in {rig}; it has {", ".join(loaded.inputs)}')
    try:
        asked = from_hex(" ".join(message))
    except ValueError as fault:
        raise CommandError(f'found "{" ".join(message)}"; allowed: {fault}') from None
    found = explain_message(loaded, chosen, input, asked)
    if picture is not None:
        verdicts = {
            one.route: FlowVerdict(input, [each.words for each in one.filters], bool(one.result))
            for one in found.routes
        }
        heard = f"{to_hex(asked)} from {input}: {describe(asked)}"
        _draw(picture, flow(loaded, chosen, verdicts, f"{heard}; {found.command.words}" if found.command else heard))
    if json:
        as_json(_plain(found, input, asked))
    else:
        _print_explanation(loaded, found, input, asked)


def _draw(file: Path, picture: str) -> None:
    """Write a picture into a new file. Raises Fault."""
    if file.suffix.lower() != ".svg":
        raise CommandError(f"{file} was not written: the picture is an SVG; name it {file.stem}.svg")
    write_new(file, picture.encode(errors="backslashreplace"))


def _plain(found: Explanation, source: str, message: bytes) -> dict[str, Any]:
    return {
        "scene": {"number": found.scene[0], "name": found.scene[1]},
        "input": source,
        "message": to_hex(message),
        "command": None
        if found.command is None
        else {"by": found.command.by, "commands": list(found.command.commands), "routed": found.command.routed},
        "routes": [
            {
                "route": route.route,
                "to": list(route.outputs),
                "filters": [
                    {"filter": one.filter, "in": shown(one.took), "out": shown(one.gave)} for one in route.filters
                ],
                "result": shown(route.result),
            }
            for route in found.routes
        ],
        "outputs": {name: shown(messages) for name, messages in found.outputs.items()},
    }


def _print_explanation(rig: Rig, found: Explanation, source: str, message: bytes) -> None:
    print(f"{to_hex(message)} from {source} in scene {found.scene[0]} {found.scene[1]}: {describe(message)}")
    if found.command is not None:
        print(f"  {found.command.words}")
    elif not found.routes:
        print("  no route of this scene takes anything from this input")
    for route in found.routes:
        print(f"  {route.route} to {', '.join(route.outputs)}: {_verdict(route)}")
        for one in route.filters:
            print(f"    {one.filter}: {one.words}")
    print("what each output gets:")
    for name, messages in found.outputs.items():
        words = "; ".join(
            f"{each} ({describe(item.message if isinstance(item, Later) else item)}{f', {known}' if known else ''})"
            for each, item, known in zip(shown(messages), messages, called(rig, name, messages), strict=True)
        )
        print(f"  {name}: {words or 'nothing'}")


def _verdict(route: RouteVerdict) -> str:
    if not route.result:
        return "stopped"
    return "passes" if not route.filters else f"passes as {', '.join(shown(route.result))}"
