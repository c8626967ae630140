"""`bayleaf learn`: shows what a switch sends, measures its bounce, and writes the control into the rig."""

import time
from collections.abc import Iterator
from typing import Annotated, Any, Final

import typer

from engine.cli.say import Fault, Json, Name, as_json
from engine.live import client
from engine.midi.kinds import CONTROLLER, NOTE_ON, PROGRAM
from engine.midi.words import describe

_SONG: Final = 0xF3
_ON: Final = 64  # MIDI 1.0 Table III: a switch is on from 64
_LEAST_GUARD: Final = 30  # ms
_APART: Final = 0.25  # seconds: two presses of a foot are further apart than contacts bounce


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("learn")(learn)


def learn(
    input: Annotated[str, typer.Argument(help="The rig's name of the input that the switch is on.")],
    do: Annotated[
        str, typer.Option("--do", help="What the switch is to do: next, back, panic, scene, tap ...")
    ] = "next",
    scene: Annotated[str | None, typer.Option("--scene", help="The scene, with --do scene.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen.", min=1, max=120)] = 8,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Press the switch a few times: what arrives is shown, and a control for it proposed."""
    if input not in _inputs(name):
        raise Fault(f'there is no input "{input}"; there are {", ".join(_inputs(name))}')
    if not json:
        print(f"press the switch on {input} three times, slowly; listening for {seconds:g} seconds")
    heard = list(_heard(name, input, seconds, quiet=json))
    control, bounce = propose(input, heard, do, scene)
    if control is None:
        raise Fault(f"nothing came from {input} that a control can go by")
    if json and not yes:
        as_json({"control": control, "bounce_ms": round(bounce, 1)})
        return
    if not json:
        print(f"its contacts bounced for {bounce:.1f} ms at most; this control would do:\n{_shown(control)}")
    if yes or typer.confirm("write it into the rig?"):
        answer = client.ask(name, {"do": "learn", "control": control}, patience=30.0)
        if not answer["done"]:
            raise Fault(answer["text"])
        saved = client.ask(name, {"do": "save"}, patience=30.0)
        if not saved["done"]:
            raise Fault(saved["text"])
        if json:
            as_json({"control": control, "bounce_ms": round(bounce, 1), "saved": saved["text"]})
        else:
            print(saved["text"])


def _inputs(name: str) -> list[str]:
    status = client.ask(name, {"do": "status"})["status"]
    return [port["name"] for port in status["inputs"]]


def _heard(name: str, source: str, seconds: float, quiet: bool) -> Iterator[tuple[float, bytes]]:
    """What comes in there, with its time in seconds."""
    end = time.monotonic() + seconds
    for batch in client.watch(name):
        for event in batch["events"]:
            if event["way"] == "in" and event["port"] == source and event["message"]:
                message = bytes.fromhex(event["message"])
                if not quiet:
                    print(f"  {event['message']:9} {describe(message)}", flush=True)
                yield event["at"] / 1e9, message
        if time.monotonic() > end:
            return


def propose(
    source: str, heard: list[tuple[float, bytes]], do: str, scene: str | None
) -> tuple[dict[str, Any] | None, float]:
    """The control for what was heard (None if there is none in it), and how long its contacts bounced, in ms."""
    condition = next((when for _, message in heard if (when := _condition(message)) is not None), None)
    if condition is None:
        return None, 0.0
    times = [at for at, message in heard if _condition(message) == condition and _is_press(message)]
    bounce = _bounce(times) * 1000
    guard = max(_LEAST_GUARD, 10 * round(bounce * 1.5 / 10 + 0.5))
    control: dict[str, Any] = {"input": source, "when": condition, "do": do, "guard": f"{guard} ms"}
    if scene is not None:
        control["scene"] = int(scene) if scene.isdecimal() else scene
    return control, bounce


def _condition(message: bytes) -> dict[str, Any] | None:
    """What of a message a control can go by; a release says nothing new."""
    kind = message[0] & 0xF0 if message[0] < 0xF0 else message[0]
    if kind == PROGRAM:
        return {"program": message[1] + 1}
    if kind == CONTROLLER:
        return {"controller": message[1]}
    if kind == NOTE_ON and message[2]:
        return {"note": message[1]}
    if kind == _SONG:
        return {"song": message[1] + 1}
    return {"sysex": message.hex(" ").upper()} if kind == 0xF0 else None


def _is_press(message: bytes) -> bool:
    """A pedal's way up is none: it comes as late as the player lifts the foot."""
    return message[0] & 0xF0 != CONTROLLER or message[2] >= _ON


def _bounce(times: list[float]) -> float:
    """Seconds from the first to the last contact of the press that bounced longest."""
    longest, begin = 0.0, None
    before = None
    for at in times:
        if begin is None or before is None or at - before > _APART:
            begin = at
        longest = max(longest, at - begin)
        before = at
    return longest


def _shown(control: dict[str, Any]) -> str:
    when = ", ".join(
        f"{key} = {value!r}" if isinstance(value, int) else f'{key} = "{value}"'
        for key, value in control["when"].items()
    )
    lines = ["[[controls]]", f'input = "{control["input"]}"', f"when  = {{ {when} }}", f'do    = "{control["do"]}"']
    if "scene" in control:
        scene = control["scene"]
        lines.append(f"scene = {scene}" if isinstance(scene, int) else f'scene = "{scene}"')
    return "\n".join([*lines, f'guard = "{control["guard"]}"'])
