"""What becomes of a play line's notes where its inputs or its instrument have an MPE zone."""

from functools import cache

from engine.midi.controllers import DATA_MSB
from engine.midi.kinds import CONTROLLER
from engine.midi.mpe import MANAGER_RANGE
from engine.midi.mpe_configuration import BEND_RANGE
from engine.midi.parameter_units import SelectedParameter
from engine.midi.setup_words import Receiver, set_up
from engine.rig.models.mpe_zone import MpeZone
from engine.rig.models.rig import Instrument
from filters import channels, mpe
from filters.registry import FilterSettings

Filters = tuple[FilterSettings, ...]

_ALL = range(1, 17)


def to_instrument(source: MpeZone | None, gear: Instrument, converted: bool) -> Filters:
    """The filters that bring what a line plays to the channels of its instrument.

    `source`: the zone of its inputs, if they have one; `converted`: a filter of the line has seen to zones already.
    """
    if gear.mpe is None:
        if source is None or converted:
            return (_on_channel(gear.channel),)
        return _between(source, None, gear.channel, bend_range(gear), gear.pressure), _on_channel(gear.channel)
    kept = _kept(gear.mpe.zone.channels)
    if converted:
        return (kept,)
    to = gear.mpe.model_copy(update={"manager_bend": bend_range(gear)})
    if source is None:
        return _on_channel(1), _between(None, to, 1, MANAGER_RANGE), kept
    return _between(source, to), kept


def bend_range(gear: Instrument) -> int:
    """How far the bend of an instrument, or of its manager channel, reaches (semitones): as its set-up says, which is
    sent last, or its zone, or 2."""
    selected, found = SelectedParameter(), gear.mpe.manager_bend if gear.mpe is not None else MANAGER_RANGE
    for line in gear.setup:
        for message in set_up(line, Receiver(gear.channel - 1, gear.programs_from)).messages:
            if message[0] & 0xF0 == CONTROLLER:
                selected.turn(message[1], message[2])
                if message[1] == DATA_MSB and selected.now == BEND_RANGE:
                    found = message[2]
    return max(1, min(found, 96))


# Equal filters are one, so that scenes share what is compiled of them.


@cache
def _between(
    source: MpeZone | None,
    to: MpeZone | None,
    channel: int = 1,
    bend: int = MANAGER_RANGE,
    pressure: str = "channel",
) -> FilterSettings:
    """From one zone to another one, or with None from or to a channel, which may have pressures of its keys."""
    ends = {
        name: {"channel": channel, "bend": bend} if zone is None else zone.model_dump()
        for name, zone in (("from", source), ("to", to))
    }
    by_keys = {"pressure": pressure} if pressure != "channel" else {}
    return mpe.Settings.model_validate({"filter": "mpe", **ends, **by_keys})


@cache
def _kept(numbers: tuple[int, ...]) -> FilterSettings:
    return channels.Settings(filter="channels", keep=numbers)


@cache
def _on_channel(channel: int) -> FilterSettings:
    return channels.Settings(filter="channels", map=dict.fromkeys(_ALL, channel))
