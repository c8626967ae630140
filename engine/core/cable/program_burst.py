"""Program bursts: the bank selects and program changes that a scene sends to put every instrument on its sound.

Each step is a bank MSB (controller 0) and bank LSB (controller 32), as far as the instrument obeys them, then the
program change, with nothing in between (MIDI 1.0 p. 13); then the instrument's settle time.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import product
from typing import NamedTuple

from engine.core.cable.output_cable import BurstUnit, Unit
from engine.core.cable.speed import DIN, CableSpeed, status_after
from engine.midi.controllers import BANK_LSB, BANK_MSB
from engine.midi.kinds import CONTROLLER, PROGRAM, SYSEX
from engine.midi.mpe_configuration import configuration
from engine.midi.setup_words import Receiver, set_up
from engine.midi.show_control import ALL_CALL
from engine.rig.lowering.lowered_scene import LoweredScene
from engine.rig.models.rig import BurstStep, Instrument, Rig, Sound
from engine.rig.models.scene_lines import Sending

#: by output index, what is sent there
Bursts = Mapping[int, tuple[BurstUnit, ...]]
#: steps that were sent, with the speed of their cable
SentBurst = tuple[CableSpeed | None, tuple[BurstUnit, ...]]


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


def _instrument_steps(step: BurstStep, gear: Instrument) -> tuple[BurstUnit, ...]:
    sound = gear.sounds[step.sound] if step.sound is not None else None
    if sound is not None and sound.send:
        first = _messages_step(sound, gear)
        return (first,) if sound.program is None else _then(first, _program_step(step, sound, gear))
    return (_program_step(step, sound, gear),)


def _then(first: BurstUnit, second: BurstUnit) -> tuple[BurstUnit, BurstUnit]:
    """Both are one sound; the second takes as long as any program of the instrument."""
    whole = (*first.unit, *second.unit)
    return first._replace(sound=whole), second._replace(chooses=True, sound=whole)


def _program_step(step: BurstStep, sound: Sound | None, gear: Instrument) -> BurstUnit:
    program = sound.program if sound else step.program
    assert program is not None  # the rig's checks make sure of it
    bank = sound.bank if sound else step.bank
    channel = gear.channel - 1
    unit = select(channel, bank, program - gear.programs_from, gear.bank)
    settle = gear.settle if sound is not None and sound.send else _settle(sound, gear)
    return BurstUnit(channel, unit, settle, bool(gear.spare), gear.always)


def _messages_step(sound: Sound, gear: Instrument) -> BurstUnit:
    """A sound that is chosen by messages of its own."""
    to = receiver_at(gear)
    lines = [set_up(line, to) for line in sound.send]
    messages = tuple(message for line in lines for message in line.messages)
    settle = max(_settle(sound, gear), *(line.settle for line in lines))
    return BurstUnit(gear.channel - 1, messages, settle, bool(gear.spare), gear.always, chooses=True)


def _settle(sound: Sound | None, gear: Instrument) -> int:
    return gear.settle if sound is None or sound.settle is None else sound.settle


def _output_step(step: BurstStep) -> BurstUnit:
    assert step.channel is not None
    assert step.program is not None
    return BurstUnit(step.channel - 1, select(step.channel - 1, step.bank, step.program - 1), 0)


def compile_burst(rig: Rig, burst: Sequence[BurstStep], outputs: Mapping[str, int]) -> Bursts:
    """A scene's steps, none of them blank, by output index, in their order."""
    steps: dict[int, list[BurstUnit]] = {}
    for step in burst:
        output, compiled = compile_step(rig, step)
        steps.setdefault(outputs[output], []).extend(compiled)
    return {output: tuple(listed) for output, listed in steps.items()}


def compile_sending(rig: Rig, sendings: Sequence[Sending], outputs: Mapping[str, int], lasting: bool = False) -> Bursts:
    """What a scene sends when it comes or goes, by output index, one step a line of words."""
    steps: dict[int, list[BurstUnit]] = {}
    for each in sendings:
        output, to = receiver(rig, each.on, each.to)
        listed = steps.setdefault(outputs[output], [])
        for line in each.send:
            messages, settle = set_up(line, to)
            channel = messages[0][0] & 0x0F if messages[0][0] < SYSEX else to.channel or 0
            listed.append(BurstUnit(channel, messages, settle, lasting))
    return {output: tuple(listed) for output, listed in steps.items()}


def receiver(rig: Rig, on: str | None, to: str | None) -> tuple[str, Receiver]:
    """The output, and who receives there: the instrument `on` it, or the output `to` as a whole."""
    if on is None:
        return str(to), Receiver(None, device=device_id(rig))
    gear = rig.instruments[on]
    return gear.output, receiver_at(gear, device_id(rig))


def receiver_at(gear: Instrument, device: int = ALL_CALL, channel: int | None = None) -> Receiver:
    """An instrument, on one of its channels (1 to 16) or on its own."""
    own = channel or gear.channel
    others = tuple(each - 1 for each in gear.channels if each != own)
    return Receiver(own - 1, gear.programs_from, device, others)


def compile_recall(rig: Rig, lowered: LoweredScene, outputs: Mapping[str, int]) -> Bursts:
    """All that a recall of a scene sends: its sounds, then what is sent when it comes."""
    sounds = compile_burst(rig, lowered.burst, outputs)
    return one_after_the_other(sounds, compile_sending(rig, lowered.whole.enter, outputs))


def one_after_the_other(first: Bursts, then: Bursts) -> Bursts:
    """On each output the steps of both."""
    return {output: (*first.get(output, ()), *then.get(output, ())) for output in (*first, *then)}


def device_id(rig: Rig) -> int:
    """The device id that show control is sent with."""
    return rig.remote.device if rig.remote is not None else ALL_CALL


def compile_step(rig: Rig, step: BurstStep) -> tuple[str, tuple[BurstUnit, ...]]:
    """The output of a step that is not blank, and what it is sent: two steps for messages before a program."""
    if step.instrument is not None:
        gear = rig.instruments[step.instrument]
        return gear.output, _instrument_steps(step, gear)
    assert step.output is not None
    return step.output, (_output_step(step),)


def messages_of(steps: Sequence[BurstUnit]) -> Unit:
    """All messages of these steps."""
    return tuple(message for step in steps for message in step.unit)


def compile_setup(rig: Rig, outputs: Mapping[str, int]) -> Bursts:
    """Each output's set-up messages in the order of the instruments, one step per line.

    Spare channels are set up as the instrument's own. A line for all channels (SysEx) comes before those of single
    channels, since it may reset them. One that two instruments of an output share is sent once. The configuration of an
    MPE zone comes before the lines of its instrument.
    """
    steps: dict[int, list[BurstUnit]] = {}
    for gear in rig.instruments.values():
        if gear.mpe is not None:
            units = configuration(gear.mpe.zone, gear.mpe.bend, gear.mpe.manager_bend)
            zone = [BurstUnit(unit[0][0] & 0x0F, unit, 0, lasting=True, always=True) for unit in units]
            steps.setdefault(outputs[gear.output], []).extend(zone)
        for channel, line in product((gear.channel, *gear.spare), gear.setup):
            messages, settle = set_up(line, receiver_at(gear, device_id(rig), channel))
            step = BurstUnit(channel - 1, messages, settle, lasting=True, always=True)
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


def burst_cost(bursts: Iterable[SentBurst]) -> BurstCost:
    """What bursts cost that are sent at once, each on a cable of this speed."""
    costs = [_cost(steps, speed) for speed, steps in bursts]
    ready = max((each.ready_ns for each in costs), default=0)
    return BurstCost(sum(each.bytes for each in costs), ready, sum(each.instruments for each in costs))


def instruments(steps: Sequence[BurstUnit]) -> int:
    """How many instruments these steps are for: one for each channel."""
    return len({step.channel for step in steps})


@lru_cache(maxsize=1 << 10)  # whoever looks at a result asks for it several times
def _cost(steps: tuple[BurstUnit, ...], speed: CableSpeed | None) -> BurstCost:
    return BurstCost(size(steps, speed), duration(steps, speed), instruments(steps))
