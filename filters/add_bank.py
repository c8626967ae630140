"""Sends a bank select before each program change, for keyboards without bank buttons.

`channels = { 1 = [81, 3] }` puts bank MSB 81 and LSB 3 before every program change on channel 1.
`programs = { 7 = { bank = [81, 3], program = 77 } }` does so for program 7 on any channel, and changes it to 77;
without `program` the number stays. Where both apply, `programs` wins. Everything else passes unchanged.
"""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from engine.midi.kinds import PROGRAM
from filters._values import TABLE, Bank, ChannelKey, Program, ProgramKey, needs_one
from filters.registry import FilterSettings, Step
from filters.steps.add_bank import adding_bank


class BankedSound(BaseModel):
    """A bank as [msb, lsb] and, where it changes, the program as printed."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    bank: Bank
    program: Program | None = None


class Settings(FilterSettings):
    """Channels 1 to 16 and programs 1 to 128 as printed, banks 0 to 127."""

    filter: Literal["add_bank"]
    channels: Annotated[dict[ChannelKey, Bank], TABLE] = Field(default_factory=dict)
    programs: Annotated[dict[ProgramKey, BankedSound], TABLE] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _does_something(self) -> Self:
        return needs_one(self, "channels", "programs")


def build(settings: Settings) -> Step:
    """Bank MSB, bank LSB, program change, in the standard's order (MIDI 1.0 p. 13)."""
    banks = {PROGRAM + channel - 1: bank for channel, bank in settings.channels.items()}
    sounds = {printed - 1: (sound.bank, (sound.program or printed) - 1) for printed, sound in settings.programs.items()}
    return adding_bank(banks, sounds)
