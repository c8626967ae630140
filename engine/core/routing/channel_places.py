"""Which channel each instrument is on: its own, which is its home, or one of its spare channels.

A scene is compiled for the homes. Where it is played on a spare channel, all that it sends on the home goes there.
"""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Final

from engine.core.cable.output_cable import BurstUnit, Unit
from engine.core.cable.program_burst import Bursts
from engine.core.routing.sent_values import Channel
from engine.midi.kinds import SYSEX
from engine.rig.models.rig import Rig

#: by output index and home (0 to 15), the channel that an instrument is on, if that is another one
Places = Mapping[Channel, int]
#: by output index and home, the spare channels of the instruments that have any, in their order
Spares = Mapping[Channel, tuple[int, ...]]

AT_HOME: Final[Places] = MappingProxyType({})


def spares_of(rig: Rig, outputs: Sequence[str]) -> Spares:
    """The spare channels of a rig."""
    return {
        (outputs.index(gear.output), gear.channel - 1): tuple(channel - 1 for channel in gear.spare)
        for gear in rig.instruments.values()
        if gear.spare
    }


def still_there(places: Places, spares: Spares) -> Places:
    """Those of these places that an edited rig still has."""
    return {home: channel for home, channel in places.items() if channel in spares.get(home, ())}


def by_instrument(rig: Rig, outputs: Sequence[str], places: Places) -> dict[str, int]:
    """By name, the channel (1 to 16) of each instrument that is not at home."""
    if not places:
        return {}
    return {
        name: places[home] + 1
        for name, gear in rig.instruments.items()
        if (home := (outputs.index(gear.output), gear.channel - 1)) in places
    }


def of_instruments(rig: Rig, outputs: Sequence[str], channels: Iterable[tuple[str, int]]) -> Places:
    """The places that `by_instrument` names; what this rig does not have is passed over."""
    places = {
        (outputs.index(gear.output), gear.channel - 1): channel - 1
        for name, channel in channels
        if (gear := rig.instruments.get(name)) is not None
    }
    return still_there(places, spares_of(rig, outputs))


def placed(output: int, unit: Unit, places: Places) -> Unit:
    """Messages that were made for the homes, as they are sent."""
    return tuple(_placed(output, message, places) for message in unit) if places else unit


def homeward(output: int, unit: Unit, places: Places) -> Unit:
    """Messages as they are sent, as if they went to the homes."""
    return placed(output, unit, {(at, channel): home for (at, home), channel in places.items()})


def _placed(output: int, message: bytes, places: Places) -> bytes:
    if message[0] >= SYSEX:
        return message
    channel = places.get((output, message[0] & 0x0F))
    return message if channel is None else bytes((message[0] & 0xF0 | channel,)) + message[1:]


def placed_step(output: int, step: BurstUnit, places: Places) -> BurstUnit:
    """A step of a burst likewise."""
    channel = places.get((output, step.channel), step.channel)
    unit, sound = placed(output, step.unit, places), placed(output, step.sound, places)
    return step._replace(channel=channel, unit=unit, sound=sound)


def placed_bursts(bursts: Bursts, places: Places) -> Bursts:
    """Bursts likewise."""
    if not places:
        return bursts
    return {output: tuple(placed_step(output, step, places) for step in steps) for output, steps in bursts.items()}
