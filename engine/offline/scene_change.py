"""What the recall of a scene after another one sends: the engine itself is asked, while nobody plays."""

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from engine.core.cable.output_cable import Delivery
from engine.core.cable.program_burst import burst_cost, compile_step, messages_of
from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.rig.edit.differences import step_in_words
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig, Scene

_LATER: Final = 3600 * 1_000_000_000  # ns between the two recalls: whatever the first one sent has long settled


class LeftOut(NamedTuple):
    """A step of a burst that is not sent: whose it is, the sound in words, and its messages."""

    receiver: str
    sound: str
    messages: tuple[bytes, ...]


class ChangeOnOutput(NamedTuple):
    """What an output is sent, in its order; when its instruments are ready (ns); what it is on already."""

    sent: tuple[bytes, ...]
    ready_ns: int
    left_out: tuple[LeftOut, ...]


def scene_change(rig: Rig, before: Scene, after: Scene) -> dict[str, ChangeOnOutput]:
    """By output, in the rig's order, what a change from one scene to the other sends."""
    engine = Engine(compile_rig(rig), watch_loops=False)
    _quiet(engine, engine.apply(0, RecallScene(before.number)).deliveries)
    recalled = engine.apply(_LATER, RecallScene(after.number))
    sent = _quiet(engine, recalled.deliveries)
    bursts = recalled.outcome.bursts
    left_out = [
        *_left_out(rig, after, {(index, each.channel) for index, (_, steps) in bursts.items() for each in steps})
    ]
    return {
        name: ChangeOnOutput(
            tuple(message for output, message, _ in sent if output == index),
            burst_cost([bursts[index]] if index in bursts else ()).ready_ns,
            tuple(step for output, step in left_out if output == name),
        )
        for index, name in enumerate(rig.outputs)
    }


def may_move(rig: Rig, after: Scene, change: Mapping[str, ChangeOnOutput]) -> dict[str, list[int]]:
    """By name, the spare channels of the instruments that this change would put on one while their notes sound."""
    found: dict[str, list[int]] = {}
    for step in Lowering(rig).lowered(after).burst:
        gear = rig.instruments.get(step.instrument or "")
        if gear is not None and gear.spare:
            _, compiled = compile_step(rig, step)
            if all(left.messages != messages_of(compiled) for left in change[gear.output].left_out):
                found[str(step.instrument)] = list(gear.spare)
    return found


def _quiet(engine: Engine, deliveries: list[Delivery]) -> list[Delivery]:
    """These, and what follows until nothing waits."""
    while engine.waiting and (due := engine.due) is not None:
        deliveries += engine.tick(due)
    return deliveries


def _left_out(rig: Rig, scene: Scene, sent: set[tuple[int, int]]) -> Iterator[tuple[str, LeftOut]]:
    """`sent`: the output and channel of each step that was sent."""
    outputs = list(rig.outputs)
    for step in Lowering(rig).lowered(scene).burst:
        output, compiled = compile_step(rig, step)
        if (outputs.index(output), compiled[0].channel) not in sent:
            yield output, LeftOut(*step_in_words(rig, step), messages_of(compiled))
