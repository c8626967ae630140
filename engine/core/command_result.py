"""What became of a command."""

from dataclasses import dataclass

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import Delivery


@dataclass(frozen=True)
class CommandResult:
    """What became of a command, in words and figures.

    `done`: whether anything was changed or sent; `code`: the same for programs, with the reason if not; `text`: one
    sentence, none for what cannot fail; `scene`: number and name of the current scene; `source`: who asked, and with
    what; `burst_bytes`, `ready_ns`: what the scene change costs until each of `instruments` instruments is ready;
    `held`: notes that sound on.
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

    @property
    def sentence(self) -> str:
        """The sentence, and for a change of sounds how long it takes and how many instruments got theirs."""
        if not self.instruments:
            return self.text
        many = "s" if self.instruments > 1 else ""
        return f"{self.text}, {self.ready_ns / 1e6:.0f} ms, {self.instruments} instrument{many}"


@dataclass(frozen=True)
class Result:
    """What `Engine.apply` gives: what became of the command, and what is to be handed to the drivers now."""

    outcome: CommandResult
    deliveries: list[Delivery]
