"""What became of a command."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import Delivery
from engine.core.cable.program_burst import BurstCost, SentBurst, burst_cost
from engine.plurals import counted


@dataclass(frozen=True)
class CommandResult:
    """What became of a command, in words and figures.

    `done`: whether anything was changed or sent; `code`: the same for programs, with the reason if not; `text`: one
    sentence, none for what cannot fail; `scene`: number and name of the current scene; `source`: who asked, and with
    what; `held`: notes that sound on; `unchanged`: instruments that were on their sounds already; `bursts`: the steps
    that were sent, by output index, with the speed of the cable.
    """

    do: str
    done: bool
    code: AnswerCode
    text: str
    source: str
    scene: tuple[int, str] | None
    held: int = 0
    unchanged: int = 0
    bursts: Mapping[int, SentBurst] = field(default_factory=dict, repr=False)

    @property
    def burst_bytes(self) -> int:
        """Bytes of the burst on the cables."""
        return self._cost.bytes

    @property
    def ready_ns(self) -> int:
        """Nanoseconds until the last of the instruments is ready."""
        return self._cost.ready_ns

    @property
    def instruments(self) -> int:
        """How many instruments the burst is for."""
        return self._cost.instruments

    @property
    def _cost(self) -> BurstCost:
        return burst_cost(self.bursts.values())

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
