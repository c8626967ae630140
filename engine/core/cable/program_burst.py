"""Program bursts: the bank selects and program changes that a scene sends to put every instrument on its sound.

Each step is a bank MSB (controller 0) and bank LSB (controller 32), as far as the instrument obeys them, then the
program change, with nothing in between (MIDI 1.0 p. 13); then the instrument's settle time.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from engine.core.cable.output_cable import BurstUnit
from engine.core.cable.speed import DIN, CableSpeed, status_after
from engine.midi.controllers import BANK_LSB, BANK_MSB
from engine.midi.kinds import CONTROLLER, PROGRAM, SYSEX
from engine.midi.setup_words import set_up
from engine.rig.models.rig import BurstStep, Instrument, Rig, Scene


def select(channel: int, bank: tuple[int, int] | None, program: int, use: str = "msb lsb") -> tuple[bytes, ...]:
    """Bank and program messages; `channel` 0 to 15, `bank` (MSB, LSB), `program` 0 to 127 as in the message.

    `use` is what the receiver obeys: "none", "msb", "lsb" or "msb lsb".
    """
    messages = []
    if bank is not None:
        obeyed = use.split()
        if "msb" in obeyed:
            messages.append(bytes((CONTROLLER | channel, BANK_MSB, bank[0])))
        if "lsb" in obeyed:
            messages.append(bytes((CONTROLLER | channel, BANK_LSB, bank[1])))
    messages.append(bytes((PROGRAM | channel, program)))
    return tuple(messages)


def _instrument_step(step: BurstStep, gear: Instrument) -> BurstUnit:
    sound = gear.sounds[step.sound] if step.sound is not None else None
    program = sound.program if sound else step.program
    assert program is not None  # the rig's checks make sure of it
    bank = sound.bank if sound else step.bank
    channel = gear.channel - 1
    unit = select(channel, bank, program - gear.programs_from, gear.bank)
    return BurstUnit(channel, unit, gear.settle, always=gear.always)


def _output_step(step: BurstStep) -> BurstUnit:
    assert step.channel is not None
    assert step.program is not None
    return BurstUnit(step.channel - 1, select(step.channel - 1, step.bank, step.program - 1), 0)


def compile_burst(rig: Rig, scene: Scene, outputs: Mapping[str, int]) -> dict[int, tuple[BurstUnit, ...]]:
    """A scene's steps by output index, in their order in the file; blank ones are left out."""
    steps: dict[int, list[BurstUnit]] = {}
    for step in (step for step in scene.burst if not step.blank):
        output, compiled = compile_step(rig, step)
        steps.setdefault(outputs[output], []).append(compiled)
    return {output: tuple(listed) for output, listed in steps.items()}


def compile_step(rig: Rig, step: BurstStep) -> tuple[str, BurstUnit]:
    """The output of a step that is not blank, and what it is sent."""
    if step.instrument is not None:
        gear = rig.instruments[step.instrument]
        return gear.output, _instrument_step(step, gear)
    assert step.output is not None
    return step.output, _output_step(step)


def compile_setup(rig: Rig, outputs: Mapping[str, int]) -> dict[int, tuple[BurstUnit, ...]]:
    """Each output's set-up messages in the order of the instruments, one step per line.

    A line for all channels (SysEx) comes before those of single channels, since it may reset them. One that two
    instruments of an output share is sent once.
    """
    steps: dict[int, list[BurstUnit]] = {}
    for gear in rig.instruments.values():
        for line in gear.setup:
            messages, settle = set_up(line, gear.channel - 1)
            step = BurstUnit(gear.channel - 1, messages, settle, lasting=True)
            listed = steps.setdefault(outputs[gear.output], [])
            if messages[0][0] < SYSEX or all(step.unit != each.unit for each in listed):
                listed.append(step)
    return {output: tuple(sorted(listed, key=lambda each: each.unit[0][0] < SYSEX)) for output, listed in steps.items()}


def size(steps: Sequence[BurstUnit], speed: CableSpeed | None = DIN) -> int:
    """Bytes of these steps on the cable."""
    if speed is None:
        return sum(len(message) for step in steps for message in step.unit)
    total = status = 0
    for message in (message for step in steps for message in step.unit):
        total += speed.cost(message, status) // speed.byte_ns - speed.overhead
        status = status_after(message, status)
    return total


def duration(steps: Sequence[BurstUnit], speed: CableSpeed | None = DIN) -> int:
    """Nanoseconds until the last instrument is ready, on an idle cable. `speed` None: a cable that is not paced."""
    free_at = status = 0
    ready: dict[int, int] = {}
    for step in steps:  # a second step on a channel waits until the instrument has settled
        start = max(free_at, ready.get(step.channel, 0))
        free_at = start
        if speed is not None:
            for message in step.unit:
                free_at += speed.cost(message, status)
                status = status_after(message, status)
        ready[step.channel] = free_at + step.settle
    return max(ready.values(), default=0)


class BurstCost(NamedTuple):
    """What bursts cost until all their `instruments` are ready."""

    bytes: int
    ready_ns: int
    instruments: int


def burst_cost(bursts: Iterable[tuple[CableSpeed | None, tuple[BurstUnit, ...]]]) -> BurstCost:
    """What bursts cost that are sent at once, each on a cable of this speed."""
    costs = [(*_cost(steps, speed), len(steps)) for speed, steps in bursts]
    return BurstCost(
        sum(sent for sent, _, _ in costs), max((ready for _, ready, _ in costs), default=0), sum(n for _, _, n in costs)
    )


@lru_cache(maxsize=1 << 14)  # a recall may ask for it again and again, and a rig has a thousand scenes
def _cost(steps: tuple[BurstUnit, ...], speed: CableSpeed | None) -> tuple[int, int]:
    return size(steps, speed), duration(steps, speed)
