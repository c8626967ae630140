"""`bayleaf learn`: shows what a switch sends, measures its contact bounce, and proposes a control for the rig."""

import time
from collections.abc import Iterator
from typing import Annotated, Any, Final, get_args

import typer

from engine.cli.options import Json, Name
from engine.cli.output import CommandError, as_json, print_line
from engine.cli.requests import LONG_PATIENCE, done
from engine.core.control.control_learning import LearnedControl
from engine.core.control.control_learning import learn as learn_from
from engine.core.control.control_matching import contact_of
from engine.core.control.switches import DOUBLE, LONG, SHORT
from engine.live.socket import client
from engine.midi.kinds import FIRST_REAL_TIME
from engine.midi.message_words import MiddleC, describe, to_hex
from engine.plurals import counted
from engine.rig.edit.toml_edits import table
from engine.rig.models.actions import Word
from engine.rig.read.raw_data import no_such

_ACTIONS: Final = tuple(action for action in get_args(Word) if action != "send")  # send is written by hand
_PRESSES: Final = 3
_QUIET: Final = 1.0  # seconds after the last press
_MOST: Final = 2000  # messages; whatever sends more is not a switch


def learn(
    input: Annotated[str, typer.Argument(help="The input of the rig that the switch is connected to.")],
    do: Annotated[
        str, typer.Option("--do", metavar="ACTION", help=f"What the switch does: {', '.join(_ACTIONS)}.")
    ] = "next",
    scene: Annotated[str | None, typer.Option("--scene", help="With --do scene: which scene.")] = None,
    route: Annotated[str | None, typer.Option("--route", help="With --do mute or unmute: which route.")] = None,
    press: Annotated[
        str | None, typer.Option("--press", help="short, long or double, to tell kinds of press apart.")
    ] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to listen at most.", min=1, max=120)] = 20,
    yes: Annotated[bool, typer.Option("--yes", help="Add the control without asking.")] = False,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Propose a control for a switch that you press three times.

    Shows what arrives, and measures the contact bounce.

    Example: bayleaf learn pedals --do next
    """
    _check_options(do, scene, press)
    learned = _learned(name, input, seconds, quiet=json)
    action = {"do": do, "scene": int(scene) if scene and scene.isdecimal() else scene, "route": route}
    control = propose(input, learned, {key: value for key, value in action.items() if value is not None}, press)
    found = {"control": control, "presses": learned.presses, "bounce_ms": round(learned.bounce, 1)}
    if json:
        as_json({**found, **_added(name, control)} if yes else found)
        return
    print_line(f"{_measured(learned)}\nThis control would do:\n\n{table('[[controls]]', control)}")
    if yes or typer.confirm("Add it to the rig?"):
        print_line(_added(name, control)["text"])
    else:
        print_line("Nothing was changed.")


def _learned(name: str, source: str, seconds: float, quiet: bool) -> LearnedControl:
    """What the switch on this input sends. Raises CommandError."""
    known = _inputs(name)
    if source not in known:
        raise CommandError(no_such("input", source, known))
    learned = learn_from(list(_received(name, source, seconds, quiet)))
    if learned is None:
        raise CommandError(f"nothing came from {source} that a control can react to; is the switch on this input?")
    return learned


def _added(name: str, control: dict[str, Any]) -> dict[str, str]:
    """Add the control to the rig; the engine's sentence about it."""
    return {"text": done(name, {"do": "learn", "control": control}, LONG_PATIENCE)["text"]}


def _check_options(do: str, scene: str | None, press: str | None) -> None:
    """Report impossible options before anybody presses anything."""
    if do not in _ACTIONS:
        raise CommandError(f"--do takes {', '.join(_ACTIONS)}; found {do}")
    if (do == "scene") != (scene is not None):
        raise CommandError("--do scene and --scene go together: give both or neither")
    if press not in (None, SHORT, LONG, DOUBLE):
        raise CommandError(f"--press takes {SHORT}, {LONG} or {DOUBLE}; found {press}")


def propose(source: str, learned: LearnedControl, action: dict[str, Any], press: str | None) -> dict[str, Any]:
    """The control, in the keys of the rig file; `action`: its keys that say what it does."""
    when = learned.when if press is None else {**learned.when, "press": press}
    guard = {} if learned.guard is None else {"guard": learned.guard}
    return {"input": source, "when": when, **action, **guard}


def _inputs(name: str) -> list[str]:
    status = client.ask(name, {"do": "status"})["status"]
    return [port["name"] for port in status["inputs"]]


def _received(name: str, source: str, seconds: float, quiet: bool) -> Iterator[tuple[int, bytes]]:
    """What arrives there, with its time in ns, until the switch was pressed often enough or the time is over."""
    received: list[tuple[int, bytes]] = []
    end = newest = 0.0
    for batch in client.watch(name):
        now = time.monotonic()
        if not end:  # nothing is missed from now on
            end = now + seconds
            _show(f"Press the switch on {source} three times, a second apart.", quiet)
        for at, message in _arrived(batch, source):
            _show(_line(message, batch["middle_c"]), quiet)
            received.append((at, message))
            newest = now
            yield at, message
        if now > end or len(received) > _MOST or (now - newest > _QUIET and _is_enough(received)):
            return


def _line(message: bytes, middle_c: MiddleC) -> str:
    """The message in words, with the number that the rig file uses for it."""
    contact, words = contact_of(message), describe(message, middle_c)
    number = f" ({contact.place})" if contact is not None and contact.place not in words else ""
    return f"  {to_hex(message):9}  {words}{number}"


def _show(line: str, quiet: bool) -> None:
    if not quiet:
        print_line(line)


def _arrived(batch: dict[str, Any], source: str) -> Iterator[tuple[int, bytes]]:
    """The messages from this input, without clock and active sensing."""
    for event in batch["events"]:
        if event["way"] == "in" and event["port"] == source and event["message"]:
            message = bytes.fromhex(event["message"])
            if message[0] < FIRST_REAL_TIME:
                yield event["at"], message


def _is_enough(received: list[tuple[int, bytes]]) -> bool:
    learned = learn_from(received)
    return learned is not None and learned.presses >= _PRESSES


def _measured(learned: LearnedControl) -> str:
    presses = "1 press" if learned.presses == 1 else f"{learned.presses} presses"
    if "turn" in learned.when:
        return f"A knob that sends steps: {counted(learned.presses, 'step')}."
    if not learned.bounce:
        return f"{presses}; the contacts did not bounce."
    return f"{presses}; the contacts bounced for at most {learned.bounce:.1f} ms."
