"""What becomes of commands whose outputs are missing: the result says what reached nothing, and counts the rest."""

from collections.abc import Sequence
from dataclasses import replace

from engine.core.command_result import CommandResult
from engine.core.state import State
from engine.live.port_bank import PortBank


def as_sent(result: CommandResult, state: State, ports: PortBank) -> CommandResult:
    """The result of a command as far as it left: panic concerns every output, a burst those of its scene."""
    if result.do == "panic" and result.done:
        return replace(result, text=result.text + nothing_reached(ports, ports.missing()[1]))
    if not (result.instruments or result.unchanged) or result.scene is None:
        return result
    scene = state.scene_of(result.scene[0])
    if scene is None:
        return result
    lost = [output for output in ports.missing()[1] if output in scene.bursts]
    if not lost:
        return result
    sent = {output: steps for output, steps in result.bursts.items() if output not in lost}
    there = sum(len(steps) for output, steps in scene.bursts.items() if output not in lost)
    left = replace(result, text=result.text + nothing_reached(ports, lost), bursts=sent)
    return replace(left, unchanged=there - left.instruments)


def nothing_reached(ports: PortBank, missing: Sequence[int]) -> str:
    """The end of a sentence about these missing outputs; empty if there are none."""
    names = [ports.outputs[output] for output in missing]
    if not names:
        return ""
    if len(names) == 1:
        return f" ({names[0]} is missing: nothing reached it)"
    return f" ({', '.join(names)} are missing: nothing reached them)"
