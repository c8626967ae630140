"""What a rig says of its clock and time code, by indices: where they come from, and where they go."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from engine.midi.timecode import RATES, Label, Rate, read_label
from engine.rig.models.rig import Rig
from engine.rig.models.sync import Clock

INTERNAL: Final = "internal"


@dataclass(frozen=True)
class ClockSettings:
    """`sources`: inputs in order of preference, None for our own clock; `to`: outputs; `runs`: from the start.

    `idles`: our own clock goes on while it is stopped. `transport`: those of `to` that get start, stop and position.
    `delays`: by output, how much later (ns) than the earliest it gets everything; those that have none are left out.
    """

    sources: tuple[int | None, ...]
    to: tuple[int, ...]
    bpm: float
    runs: bool
    idles: bool
    transport: tuple[int, ...]
    delays: Mapping[int, int]

    @property
    def own(self) -> bool:
        """Whether the rig has a clock of its own."""
        return None in self.sources


@dataclass(frozen=True)
class TimecodeSettings:
    """`source`: the input that it comes from, None for our own, which begins at `start`; `to`: outputs.

    `runs`: from the start of the show; `with_clock`: it starts and stops with the clock.
    """

    source: int | None
    to: tuple[int, ...]
    rate: Rate
    start: Label
    runs: bool
    with_clock: bool


@dataclass(frozen=True)
class CueSettings:
    """`cues`: the place of a scene in the time code and its number; `chase`: a jump recalls the scene of that place."""

    cues: tuple[tuple[str, int], ...] = ()
    chase: bool = False


@dataclass(frozen=True)
class SyncSettings:
    """`inputs`: their names by index."""

    inputs: tuple[str, ...]
    clock: ClockSettings | None
    timecode: TimecodeSettings | None
    cues: CueSettings


def sync_settings(rig: Rig, inputs: Sequence[str], outputs: Sequence[str]) -> SyncSettings:
    """`inputs`, `outputs`: names by index."""
    clock, code = rig.sync.clock, rig.sync.timecode
    cues = tuple((scene.at, scene.number) for scene in rig.scenes if scene.at is not None)
    return SyncSettings(
        tuple(inputs),
        _clock_settings(clock, inputs, outputs) if clock else None,
        TimecodeSettings(
            None if code.source == INTERNAL else inputs.index(code.source),
            _outputs(code.to, outputs),
            RATES[code.rate],
            read_label(code.start, RATES[code.rate]),
            code.run,
            code.with_clock,
        )
        if code
        else None,
        CueSettings(cues, bool(code and code.chase)),
    )


def _clock_settings(clock: Clock, inputs: Sequence[str], outputs: Sequence[str]) -> ClockSettings:
    to = _outputs(clock.to, outputs)
    earliest = min((clock.offset.get(name, 0) for name in clock.to), default=0)
    late = {outputs.index(name): clock.offset.get(name, 0) - earliest for name in clock.to}
    return ClockSettings(
        _sources(clock.source, inputs),
        to,
        clock.bpm,
        clock.run,
        clock.idle,
        to if clock.transport is None else _outputs(clock.transport, outputs),
        {output: delay for output, delay in late.items() if delay},
    )


def _sources(names: Sequence[str], inputs: Sequence[str]) -> tuple[int | None, ...]:
    return tuple(None if name == INTERNAL else inputs.index(name) for name in names)


def _outputs(names: Sequence[str], outputs: Sequence[str]) -> tuple[int, ...]:
    return tuple(outputs.index(name) for name in dict.fromkeys(names))
