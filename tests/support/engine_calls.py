"""Engines of rigs, and short ways to give them commands by port index."""

from collections.abc import Iterable, Mapping

from engine.core.cable.output_cable import Delivery
from engine.core.cable.speed import CableSpeed
from engine.core.command_codec import decode
from engine.core.command_result import CommandResult
from engine.core.commands import (
    AdoptRig,
    Command,
    Finish,
    InputLost,
    MuteRoute,
    OutputLeft,
    OutputThere,
    PlayTestNote,
    RecallScene,
    UnmuteRoute,
    WakeUp,
)
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.core.routing.held_presses import Target
from engine.rig.models.rig import Rig


def engine_of(rig: Rig, speeds: Mapping[str, CableSpeed | None] | None = None, remote: Iterable[str] = ()) -> Engine:
    """An engine of a rig, with no scene recalled yet; `remote`: outputs whose cables are at another machine."""
    return Engine(compile_rig(rig, remote_outputs=remote), speeds)


def apply(engine: Engine, now: int, command: Command, who: str = "shell") -> list[Delivery]:
    """Carry out a command; returns what is sent."""
    return engine.apply(now, command, who).deliveries


def command(
    engine: Engine, now: int, word: str, value: int | str | None = None, who: str = "shell"
) -> tuple[CommandResult, list[Delivery]]:
    """A player's command by its word, such as "scene" with a number or "next"; returns its result and what is sent."""
    result = engine.apply(now, decode(word, {} if value is None else {word: value}), who)
    return result.outcome, result.deliveries


def recall(engine: Engine, now: int, scene: int | str, who: str = "recall") -> list[Delivery]:
    """Switch to a scene by number or name: what is sent, rest and positions included. KeyError if there is none."""
    if engine.state.compiled.find(scene) is None:
        raise KeyError(scene)
    return settled(engine, now, apply(engine, now, RecallScene(scene), who))


def settled(engine: Engine, now: int, out: list[Delivery]) -> list[Delivery]:
    """What was sent, and what is sent at the moments after it, until every input is settled."""
    while engine.state.gestures.unsettled:
        now = max(now, engine.state.gestures.goes_on_at)
        out += engine.tick(now)
    return out


def mute(engine: Engine, now: int, route: str, on: bool, who: str = "shell") -> tuple[CommandResult, list[Delivery]]:
    """Mute or unmute a route."""
    result = engine.apply(now, (MuteRoute if on else UnmuteRoute)(route), who)
    return result.outcome, settled(engine, now, result.deliveries)


def sync(
    engine: Engine, now: int, part: str, what: str, value: float | str | None = None
) -> tuple[CommandResult, list[Delivery]]:
    """A command to our own "clock" or "timecode"."""
    result = engine.apply(now, decode(part, {"what": what, "value": value}), "shell")
    return result.outcome, result.deliveries


def input_lost(engine: Engine, now: int, source: int) -> list[Delivery]:
    """The cable of an input is pulled."""
    return apply(engine, now, InputLost(engine.inputs[source]))


def output_there(
    engine: Engine, now: int, output: int, speed: CableSpeed | None = None, owed: Iterable[bytes] = ()
) -> list[Delivery]:
    """The cable of an output is put back."""
    return apply(engine, now, OutputThere(engine.outputs[output], speed, tuple(owed)))


def output_left(engine: Engine, now: int, output: int) -> list[Delivery]:
    """An output is about to be closed."""
    return apply(engine, now, OutputLeft(engine.outputs[output]))


def finish(engine: Engine, now: int) -> list[Delivery]:
    """The show ends."""
    return apply(engine, now, Finish())


def wake_up(engine: Engine, now: int) -> tuple[CommandResult, list[Delivery]]:
    """The machine wakes up from sleep."""
    result = engine.apply(now, WakeUp(), "wake-up")
    return result.outcome, result.deliveries


def play_test_note(engine: Engine, now: int, target: Target, length: int) -> list[Delivery]:
    """Play a test note of this length (ns)."""
    return apply(engine, now, PlayTestNote(engine.outputs[target.output], target.channel, target.key, length))


def adopt(engine: Engine, now: int, rig: Rig, remote: Iterable[str] = ()) -> list[Delivery]:
    """Go on with an edited rig; returns what is sent."""
    compiled = compile_rig(rig, after=engine.state.compiled, remote_outputs=remote)
    return settled(engine, now, apply(engine, now, AdoptRig("", tuple(sorted(remote)), compiled)))
