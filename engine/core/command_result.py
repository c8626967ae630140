"""What became of a command."""

from dataclasses import dataclass


@dataclass(frozen=True)
class CommandResult:
    """What became of a command, for whoever gave it.

    `done`: whether anything was changed or sent; `text`: one sentence; `scene`: number and name now in force;
    `source`: who asked, and with what; `burst_bytes` and `ready_ns`: what the scene change costs until each of so many
    `instruments` is ready; `held`: notes that sound on.
    """

    do: str
    done: bool
    text: str
    source: str
    scene: tuple[int, str] | None
    burst_bytes: int = 0
    ready_ns: int = 0
    held: int = 0
    instruments: int = 0

    @property
    def told(self) -> str:
        """The sentence, and for a change of sounds how long it takes and how many instruments got theirs."""
        if not self.instruments:
            return self.text
        many = "s" if self.instruments > 1 else ""
        return f"{self.text}, {self.ready_ns / 1e6:.0f} ms, {self.instruments} instrument{many}"
