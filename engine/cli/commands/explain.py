"""`bayleaf explain`: what each route does to one message, what a scene change sends, and a scene's signal flow."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import CommandError, as_json, print_line, write_new
from engine.cli.rig_lookup import check_input, scene_of, song_of
from engine.core.routing.explain import Explanation, RouteVerdict, called, shown
from engine.core.routing.explain import explain as explain_message
from engine.core.timing.sync import is_clock
from engine.midi.message_words import to_hex
from engine.midi.unit_words import UnitWords, unit_from_hex, unit_in_words
from engine.offline.scene_change import ChangeOnOutput, may_move, scene_change
from engine.offline.signal_flow import flow
from engine.rig.models.rig import Rig, Scene, SongTable
from engine.rig.read.load import load
from filters.registry import Later


def explain(
    rig: RigFile,
    message: Annotated[
        list[str] | None, typer.Argument(metavar="HEX...", help="One message (90 3C 40), or those of one parameter.")
    ] = None,
    input: Annotated[str | None, typer.Option("--input", help="The input of the rig that it comes from.")] = None,
    scene: Annotated[str | None, typer.Option("--scene", help="Number or name. Default: the first scene.")] = None,
    song: Annotated[
        str | None,
        typer.Option("--song", help="The song in force, which may transpose. Its first scene, without --scene."),
    ] = None,
    after: Annotated[
        str | None,
        typer.Option("--after", metavar="SCENE", help="Show what a change from this scene to --scene sends."),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="OUT.svg", help="Draw the scene's signal flow into a new file.")
    ] = None,
    json: Json = False,
) -> None:
    """Show what each route does to a message, filter by filter.

    Also shows what each output gets, what a change from one scene to another sends, and draws the signal flow of a
    scene.

    Example: bayleaf explain pit.toml --scene 12 --input keys 90 3C 40
    """
    _check_together(message, input, song, after, picture)
    loaded = load(rig)
    singing = song_of(loaded, song, rig) if song is not None else None
    first: int | str = singing.scenes[0] if singing is not None else loaded.scenes[0].number
    chosen = scene_of(loaded, first if scene is None else scene, rig)
    by = singing.transpose if singing is not None else 0
    if after is not None:
        _tell_change(loaded, scene_of(loaded, after, rig), chosen, json)
        return
    if not message or input is None:
        assert picture is not None
        _draw(picture, flow(loaded, chosen, transposed=by))
        _tell_drawn(picture, chosen, json)
        return
    check_input(loaded, input, rig)
    asked = _message(message)
    found = explain_message(loaded, chosen, input, asked, song, by)
    if picture is not None:
        _draw(picture, flow(loaded, chosen, found.routes, input, _heading(loaded, found, input, asked), by))
    if json:
        as_json({**_plain(found, input, asked), "song": song})
    else:
        _print_explanation(loaded, found, input, asked, singing)


def _check_together(
    message: list[str] | None, input: str | None, song: str | None, after: str | None, picture: Path | None
) -> None:
    """Raise BadParameter for options that do not go together."""
    if after is not None and (message or input or picture or song):
        raise typer.BadParameter(
            "takes --scene alone: no message, no --input, no --song and no --picture", param_hint="--after"
        )
    if after is None and not (message and input) and (message or input or picture is None):
        raise typer.BadParameter(
            "give --input and one message, such as --input keys 90 3C 40; or --after SCENE; or --picture OUT.svg",
            param_hint="HEX...",
        )


def _message(words: list[str]) -> tuple[bytes, ...]:
    try:
        return unit_from_hex(" ".join(words))
    except ValueError as fault:
        raise CommandError(f'found "{" ".join(words)}"; allowed: {fault}') from None


def _heading(rig: Rig, found: Explanation, source: str, asked_of: Sequence[bytes]) -> str:
    asked = f"{to_hex(b''.join(asked_of))} from {source}: {unit_in_words(asked_of, rig.rig.middle_c)}"
    return f"{asked}; {found.command.words}" if found.command else asked


def _draw(file: Path, picture: str) -> None:
    """Write a picture into a new file. Raises CommandError."""
    if file.suffix.lower() != ".svg":
        raise CommandError(f"{file} was not written: the picture is an SVG file; name it {file.stem}.svg")
    write_new(file, picture.encode(errors="backslashreplace"))


def _tell_drawn(file: Path, scene: Scene, json: bool) -> None:
    if json:
        as_json({"scene": {"number": scene.number, "name": scene.name}, "picture": str(file)})
    else:
        print_line(f"drew scene {scene.number} {scene.name} in {file}")


def _tell_change(rig: Rig, before: Scene, after: Scene, json: bool) -> None:
    found = scene_change(rig, before, after)
    spare = may_move(rig, after, found)
    if json:
        as_json(
            {
                "scene": {"number": after.number, "name": after.name},
                "after": {"number": before.number, "name": before.name},
                "outputs": {name: _plain_change(change) for name, change in found.items()},
                "spare": spare,
            }
        )
        return
    print_line(f"scene {after.number} {after.name}, recalled after scene {before.number} {before.name}")
    print_line("what each output gets:")
    for name, change in found.items():
        ready = f"; ready after {change.ready_ns / 1e6:.2f} ms" if change.ready_ns else ""
        print_line(f"  {name}: {_messages(rig, name, change.sent)}{ready}")
        for step in change.left_out:
            print_line(f"    {step.receiver} is on {step.sound} already")
    for name, channels in spare.items():
        own, listed = rig.instruments[name].channel, " or ".join(map(str, channels))
        print_line(f"while a note sounds on channel {own}, {name} takes channel {listed}")


def _plain_change(change: ChangeOnOutput) -> dict[str, Any]:
    return {
        "sends": shown(change.sent),
        "bytes": sum(map(len, change.sent)),
        "ready_ms": round(change.ready_ns / 1e6, 2),
        "left_out": [
            {"instrument": step.receiver, "sound": step.sound, "messages": shown(step.messages)}
            for step in change.left_out
        ],
    }


def _plain(found: Explanation, source: str, asked: Sequence[bytes]) -> dict[str, Any]:
    return {
        "scene": {"number": found.scene[0], "name": found.scene[1]},
        "input": source,
        "message": to_hex(b"".join(asked)),
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


def _print_explanation(
    rig: Rig, found: Explanation, source: str, asked: Sequence[bytes], song: SongTable | None
) -> None:
    where = f"scene {found.scene[0]} {found.scene[1]}"
    if song is not None:
        where += f" of {song.name}" + (f", transposed by {song.transpose:+d}" if song.transpose else "")
    print_line(f"{to_hex(b''.join(asked))} from {source} in {where}: {unit_in_words(asked, rig.rig.middle_c)}")
    if found.command is not None:
        print_line(f"  {found.command.words}")
    elif not found.routes:
        print_line("  no route of this scene takes anything from this input")
    for route in found.routes:
        print_line(f"  {route.route} to {', '.join(route.outputs)}: {_verdict(route)}")
        for one in route.filters:
            print_line(f"    {one.filter}: {one.words}")
    print_line("what each output gets:")
    clocked = rig.sync.clock.to if rig.sync.clock is not None and is_clock(asked[0]) else ()
    for name, messages in found.outputs.items():
        instead = "; the rig's clock goes there instead" if name in clocked and not messages else ""
        print_line(f"  {name}: {_messages(rig, name, messages)}{instead}")


def _messages(rig: Rig, output: str, messages: Sequence[bytes | Later]) -> str:
    """The messages in hexadecimal, each with what it is in words."""
    units = UnitWords(rig.rig.middle_c)
    said = units.lines((output, item.message if isinstance(item, Later) else item) for item in messages)
    words = "; ".join(
        each if what is None else f"{each} ({what}{f', {known}' if known else ''})"
        for each, what, known in zip(shown(messages), said, called(rig, output, messages), strict=True)
    )
    return words or "nothing"


def _verdict(route: RouteVerdict) -> str:
    if not route.result:
        return "stopped"
    return "passes" if not route.filters else f"passes as {', '.join(shown(route.result))}"
