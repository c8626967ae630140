"""What became of a command."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import BurstUnit, Delivery
from engine.plurals import counted


@dataclass(frozen=True)
class CommandResult:
    """What became of a command, in words and figures.

    `done`: whether anything was changed or sent; `code`: the same for programs, with the reason if not; `text`: one
    sentence, none for what cannot fail; `scene`: number and name of the current scene; `source`: who asked, and with
    what; `burst_bytes`, `ready_ns`: what the scene change costs until each of `instruments` instruments is ready;
    `unchanged`: instruments that were on their sounds already; `held`: notes that sound on; `bursts`: the steps that
    were sent, by output index.
    """

    do: str
    done: bool
    code: AnswerCode
    text: str
    source: str
    scene: tuple[int, str] | None
    burst_bytes: int = 0
    ready_ns: int = 0
    held: int = 0
    instruments: int = 0
    unchanged: int = 0
    bursts: Mapping[int, tuple[BurstUnit, ...]] = field(default_factory=dict, repr=False)

    @property
    def sentence(self) -> str:
        """The sentence, and for a change of sounds how long it takes and how many instruments got theirs."""
        if self.instruments:
            return f"{self.text}, {self.ready_ns / 1e6:.0f} ms, {counted(self.instruments, 'instrument')}"
        return f"{self.text}, nothing to send" if self.unchanged else self.text


@dataclass(frozen=True)
class Result:
    """What `Engine.apply` gives: what became of the command, and what is to be handed to the drivers now."""

    outcome: CommandResult
    deliveries: list[Delivery]
