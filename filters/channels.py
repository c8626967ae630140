"""Passes only some channels, or moves them to other channels.

`keep` lets only these channels through, `drop` stops these; both refer to the channel that came in. Then `map` moves
the rest: `map = { 1 = 5 }` sends channel 1 on as channel 5. System messages have no channel and pass.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from engine.midi.kinds import NOTE_OFF, SYSEX
from filters._values import TABLE, Channel, ChannelKey, Channels, needs_one, not_both
from filters.registry import FilterSettings, Step
from filters.steps.channels import changing_statuses


class Settings(FilterSettings):
    """Channels as printed, 1 to 16."""

    filter: Literal["channels"]
    keep: Channels = ()
    drop: Channels = ()
    map: Annotated[dict[ChannelKey, Channel], TABLE] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        return not_both(needs_one(self, "keep", "drop", "map"), self.keep, self.drop, "channel")


def build(settings: Settings) -> Step:
    """A look-up of the new status byte by the old one; None stops the message."""
    kept = set(settings.keep or range(1, 17)).difference(settings.drop)
    statuses: list[bytes | None] = [None] * SYSEX
    for channel in kept:
        for kind in range(NOTE_OFF, SYSEX, 0x10):
            statuses[kind | channel - 1] = bytes((kind | settings.map.get(channel, channel) - 1,))
    return changing_statuses(statuses)
