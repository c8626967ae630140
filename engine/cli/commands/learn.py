"""`bayleaf learn`: shows what a switch sends, measures its bounce, and proposes the control for the rig."""

import time
from collections.abc import Iterator
from typing import Annotated, Any, Final, get_args

import typer

from engine.cli.output import CommandError, Json, Name, as_json
from engine.core.control.control_learning import LearnedControl
from engine.core.control.control_learning import learn as learn_from
from engine.core.control.control_matching import contact_of
from engine.core.control.switches import DOUBLE, LONG, SHORT
from engine.live.socket import client
from engine.midi.kinds import FIRST_REAL_TIME
from engine.midi.message_words import describe, to_hex
from engine.rig.edit.toml_edits import table
from engine.rig.models.control import Action

_ACTIONS: Final = tuple(action for action in get_args(Action) if action != "send")  # which is written by hand
_PRESSES: Final = 3
_QUIET: Final = 1.0  # seconds after the last press
_MOST: Final = 2000  # messages; what sends more is no switch


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("learn")(learn)


def learn(
    input: Annotated[str, typer.Argument(help="The rig's name of the input that the switch is on.")],
    do: Annotated[
        str, typer.Option("--do", help="What the switch is to do: next, back, panic, scene, tap ...")
    ] = "next",
    scene: Annotated[str | None, typer.Option("--scene", help="The scene, with --do scene.")] = None,
    route: Annotated[str | None, typer.Option("--route", help="The route's name, with --do mute or unmute.")] = None,
    press: Annotated[str | None, typer.Option("--press", help="short, long or double, to tell presses apart.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen at the most.", min=1, max=120)] = 20,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Press a switch three times: what arrives is shown, its bounce measured, and a control for it proposed."""
    _look_at(do, scene, press)
    known = _inputs(name)
    if input not in known:
        raise CommandError(f'there is no input "{input}"; there are: {", ".join(known)}')
    learned = learn_from(list(_heard(name, input, seconds, quiet=json)))
    if learned is None:
        raise CommandError(f"nothing came from {input} that a control can go by; is the switch on this input?")
    asked = {"do": do, "scene": int(scene) if scene and scene.isdecimal() else scene, "route": route}
    control = propose(input, learned, {key: value for key, value in asked.items() if value is not None}, press)
    found: dict[str, Any] = {"control": control, "presses": learned.presses, "bounce_ms": round(learned.bounce, 1)}
    if not json:
        print(f"{_measured(learned)}\nThis control would do:\n\n{table('[[controls]]', control)}")
    elif not yes:
        as_json(found)
        return
    if yes or typer.confirm("Write it into the rig?"):
        answer = client.ask(name, {"do": "learn", "control": control}, patience=30.0)
        if not answer["done"]:
            raise CommandError(answer["text"])
        if json:
            as_json({**found, "text": answer["text"]})
        else:
            print(answer["text"])
    else:
        print("Nothing was written.")


def _look_at(do: str, scene: str | None, press: str | None) -> None:
    """What cannot be meant is said before anybody presses anything."""
    if do not in _ACTIONS:
        raise CommandError(f"--do takes {', '.join(_ACTIONS)}; found {do}")
    if (do == "scene") != (scene is not None):
        raise CommandError("--do scene and --scene go together: the one says what, the other which")
    if press not in (None, SHORT, LONG, DOUBLE):
        raise CommandError(f"--press takes {SHORT}, {LONG} or {DOUBLE}; found {press}")


def propose(source: str, learned: LearnedControl, asked: dict[str, Any], press: str | None) -> dict[str, Any]:
    """The control, in the rig file's own keys; `asked`: what it is to do."""
    when = learned.when if press is None else {**learned.when, "press": press}
    guard = {} if learned.guard is None else {"guard": learned.guard}
    return {"input": source, "when": when, **asked, **guard}


def _inputs(name: str) -> list[str]:
    status = client.ask(name, {"do": "status"})["status"]
    return [port["name"] for port in status["inputs"]]


def _heard(name: str, source: str, seconds: float, quiet: bool) -> Iterator[tuple[int, bytes]]:
    """What comes in there, with its time in ns, until there were presses enough or the time is over."""
    heard: list[tuple[int, bytes]] = []
    end = newest = 0.0
    for batch in client.watch(name):
        now = time.monotonic()
        if not end:  # from now on nothing is missed
            end = now + seconds
            _show(f"Press the switch on {source} three times, a second apart.", quiet)
        for at, message in _came(batch, source):
            _show(_line(message), quiet)
            heard.append((at, message))
            newest = now
            yield at, message
        if now > end or len(heard) > _MOST or (now - newest > _QUIET and _is_enough(heard)):
            return


def _line(message: bytes) -> str:
    """In words, and with the number that the rig file goes by."""
    contact = contact_of(message)
    number = f" ({contact.place})" if contact is not None and contact.place not in describe(message) else ""
    return f"  {to_hex(message):9}  {describe(message)}{number}"


def _show(line: str, quiet: bool) -> None:
    if not quiet:
        print(line, flush=True)


def _came(batch: dict[str, Any], source: str) -> Iterator[tuple[int, bytes]]:
    """Clock and active sensing are left out."""
    for event in batch["events"]:
        if event["way"] == "in" and event["port"] == source and event["message"]:
            message = bytes.fromhex(event["message"])
            if message[0] < FIRST_REAL_TIME:
                yield event["at"], message


def _is_enough(heard: list[tuple[int, bytes]]) -> bool:
    learned = learn_from(heard)
    return learned is not None and learned.presses >= _PRESSES


def _measured(learned: LearnedControl) -> str:
    many = "1 press" if learned.presses == 1 else f"{learned.presses} presses"
    if "turn" in learned.when:
        return f"A knob that sends steps: {learned.presses} of them."
    if not learned.bounce:
        return f"{many}, and its contacts did not bounce."
    return f"{many}, and its contacts bounced for {learned.bounce:.1f} ms at the most."
