"""The benches can show a fault: a clock that is late or left out turns their verdicts. No outside source."""

from collections.abc import Sequence
from typing import Any

import pytest

from bench.grid import CLOCK, CODE, SPACING, Handed, figures, lost, off
from bench.load import RATE, SECOND, MemoryPorts, percentiles
from bench.result import Pace, Result
from bench.scenes import SOUNDING, recalls
from bench.targets import TARGETS
from engine.core.command_result import CommandResult
from engine.core.commands import Command
from engine.live.show import Show

MS = 1_000_000


def clocks(count: int) -> list[int]:
    """Times at which this many clocks are due, from 0 (ns)."""
    return [round(number * SPACING[CLOCK]) for number in range(count)]


def verdicts(handed: Sequence[int]) -> dict[str, str]:
    """What the targets of part `grid` say of clocks that were handed over at these times."""
    return _verdicts(CLOCK, Handed(0, handed))


def _verdicts(name: str, handed: Handed) -> dict[str, str]:
    rows = {name: figures(name, off(name, handed))}
    parts = {"grid": {"figures": lost(rows)}}
    return {each.figure: each.verdict(parts)[1] for each in TARGETS if each.figure in ("grid.missing", "grid.worst")}


def test_punctual_clocks_pass() -> None:
    """An hour of clocks on their grid."""
    assert verdicts(clocks(172_800)) == {"grid.missing": "pass", "grid.worst": "pass"}


@pytest.mark.parametrize("place", [1_000, 86_000, 172_799])
def test_a_clock_that_is_left_out_is_a_fault(place: int) -> None:
    """Wherever it is left out in an hour, but for the very last, which nobody can miss yet."""
    handed = clocks(172_801)
    del handed[place]
    assert verdicts(handed)["grid.missing"] == "miss"


@pytest.mark.parametrize("late", [16, 20, 60])
def test_a_late_clock_is_a_fault(late: int) -> None:
    """Later than three quarters of a period, a whole one, and almost three: those behind it wait for it."""
    handed = clocks(1_000)
    wait = handed[500] + late * MS
    handed = [max(at, wait) if number >= 500 else at for number, at in enumerate(handed)]
    assert verdicts(handed) == {"grid.missing": "pass", "grid.worst": "miss"}


def quarter_frames(late: int, left_out: int | None = None) -> Handed:
    """A thousand quarter frames (MIDI 1.0, time code p. 1: eight pieces, in order), one of which was late (ms)."""
    due = [(round(number * SPACING[CODE]), number % 8) for number in range(1000)]
    wait = due[500][0] + late * MS
    sent = [(max(at, wait) if number >= 500 else at, piece) for number, (at, piece) in enumerate(due)]
    kept = [each for number, each in enumerate(sent) if number != left_out]
    return Handed(0, [at for at, _ in kept], [piece for _, piece in kept])


@pytest.mark.parametrize("late", [0, 6, 7, 9, 14])
def test_a_quarter_frame_that_is_a_little_late_is_not_missing(late: int) -> None:
    """Those behind it wait for it, up to 14 ms, and all come."""
    assert _verdicts(CODE, quarter_frames(late)) == {"grid.missing": "pass", "grid.worst": "pass"}


@pytest.mark.parametrize("late", [0, 7, 9])
@pytest.mark.parametrize("left_out", [300, 500, 501, 998])
def test_a_quarter_frame_that_is_left_out_is_a_fault(left_out: int, late: int) -> None:
    """Also where others are late."""
    assert _verdicts(CODE, quarter_frames(late, left_out))["grid.missing"] == "miss"


@pytest.mark.parametrize("late", [16, 20, 60])
def test_a_late_quarter_frame_is_a_fault(late: int) -> None:
    """Later than the target allows, up to the time of seven of them."""
    assert _verdicts(CODE, quarter_frames(late)) == {"grid.missing": "pass", "grid.worst": "miss"}


def test_the_wait_before_a_look_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Messages that are read 20 ms after they were due are 20 ms late, however fast they are sent then."""
    now = [SECOND]
    monkeypatch.setattr("bench.load.time.monotonic_ns", lambda: now[0])
    ports = MemoryPorts("warm", 1, 1)
    assert ports.inputs[0].poll() == []
    for _ in range(100):
        now[0] += 20 * MS
        for message in ports.inputs[0].poll():
            ports.outputs[0].send(message)
    found = percentiles(ports.since_due(0))
    assert len(ports.since_due(0)) == 2 * RATE
    assert found["worst"] == pytest.approx(20_000, rel=0.06)
    assert found["p50"] == pytest.approx(10_000, rel=0.06)


@pytest.mark.parametrize(("each_note", "verdict"), [(1, "pass"), (4, "miss")])
def test_what_sounding_notes_cost_a_recall_is_seen(
    monkeypatch: pytest.MonkeyPatch, each_note: int, verdict: str
) -> None:
    """A recall that takes so many µs for each sounding note (the show's clock stands still otherwise) meets the target
    or misses it; the rows without sounding notes are as they were."""
    now = [0]

    class Slowed:
        """A show in which a command takes its time."""

        _show: Show

        def __init__(self, *given: Any) -> None:
            self.__dict__["_show"] = Show(*given)

        def apply(self, command: Command, who: str = "") -> CommandResult:
            now[0] += each_note * 1000 * self._show.engine.state.ledger.sounding()
            return self._show.apply(command, who)

        def __getattr__(self, name: str) -> Any:
            return getattr(self._show, name)

        def __setattr__(self, name: str, value: Any) -> None:
            setattr(self._show, name, value)

    monkeypatch.setattr("bench.scenes.time.perf_counter_ns", lambda: now[0])
    monkeypatch.setattr("bench.scenes.Show", Slowed)
    result = Result()
    recalls(Pace(quick=True), result)
    (target,) = (each for each in TARGETS if each.figure == f"scenes.recall p99, {SOUNDING} notes")
    measured, told = target.verdict({"scenes": {"figures": result.figures}})
    assert measured is not None
    assert (measured >= each_note * SOUNDING, told) == (True, verdict)
    assert result.figures["recall p99, 1"] <= each_note  # of the player who plays on
