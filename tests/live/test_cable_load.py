"""How full cables are. A DIN cable carries 3,125 bytes per second (MIDI 1.0 Detailed Specification 4.2.1 p. 1)."""

import pytest

from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.live.cable_load import CableLoad
from engine.rig.read.load import read
from tests.support.small_show import MS, RIG, Bench

KEYS = 0
STRINGS, BRASS = 0, 1
SLOW = RIG.replace('strings = { port = "Box 1" }', 'strings = { port = "Box 1", wire = "din" }')


class Cables:
    """A show with one DIN cable, and a cable load that is measured ten times a second."""

    def __init__(self) -> None:
        self.bench = Bench(SLOW)
        self.show = self.bench.show
        self.show.apply(RecallScene(2), "shell")
        self.passes(5.0)
        self.gauge = CableLoad(self.show)

    def passes(self, seconds: float, *messages: str) -> None:
        """Let time pass in steps of 10 ms; at each step these messages arrive, with another velocity for each X."""
        for step in range(round(seconds * 100)):
            self.bench.passes(self.bench.now + 10 * MS)
            self.bench.play(KEYS, *(each.replace("X", f"{step % 100 + 1:02X}") for each in messages))
            if step % 10 == 9 and hasattr(self, "gauge"):
                self.gauge.look()


@pytest.fixture
def cables() -> Cables:
    """The show before anything is played."""
    return Cables()


def test_an_output_that_is_not_paced_has_no_load(cables: Cables) -> None:
    """An output without a speed limit has no load."""
    assert cables.gauge.loads == [0.0, None]
    assert cables.gauge.peaks == [0.0, None]


def test_the_share_of_a_second(cables: Cables) -> None:
    """A three-byte note every 10 ms takes 960 of 10,000 µs on the cable; when the notes end, the load falls."""
    cables.passes(2.0, "90 3C X")  # always the same would look like a loop
    assert cables.gauge.loads[STRINGS] == pytest.approx(0.1, abs=0.01)
    cables.passes(0.5)
    assert cables.gauge.loads[STRINGS] == pytest.approx(0.05, abs=0.01)
    cables.passes(1.0)
    assert cables.gauge.loads[STRINGS] == 0.0


def test_a_rest_does_not_dilute_what_follows(cables: Cables) -> None:
    """After a long rest the load is that of the last second, as it would be without one."""
    cables.passes(30.0)
    cables.passes(0.5, "90 3C X")
    assert cables.gauge.loads[STRINGS] == pytest.approx(0.05, abs=0.01)
    cables.passes(1.0, "90 3C X")
    assert cables.gauge.loads[STRINGS] == pytest.approx(0.1, abs=0.01)


def test_a_full_cable_is_one_and_no_more(cables: Cables) -> None:
    """However much is waiting, the load is at most 1."""
    cables.passes(3.0, *["90 3C 40", "80 3C 40"] * 8)
    assert cables.gauge.loads[STRINGS] == 1.0


def test_a_long_dump_is_spread_over_its_time(cables: Cables) -> None:
    """A SysEx that is handed over at once loads its cable for as long as its bytes take."""
    cables.bench.play(KEYS, "F0 7D " + "00 " * 6247 + "F7")  # 6,250 bytes are two seconds
    cables.passes(1.5)
    assert cables.gauge.loads[STRINGS] == 1.0
    cables.passes(1.0)
    assert cables.gauge.loads[STRINGS] == pytest.approx(0.5, abs=0.05)


def test_the_worst_second_is_kept_for_a_minute(cables: Cables) -> None:
    """The peak is kept for about a minute, then dropped."""
    cables.passes(2.0, "90 3C X")  # always the same would look like a loop
    cables.passes(50.0)
    assert cables.gauge.loads[STRINGS] == 0.0
    assert cables.gauge.peaks[STRINGS] == pytest.approx(0.1, abs=0.01)
    cables.passes(15.0)
    assert cables.gauge.peaks[STRINGS] == 0.0


def test_what_found_no_room_is_counted_for_a_minute(cables: Cables) -> None:
    """Note-ons that a jammed cable drops are counted, and forgotten after a minute."""
    cables.bench.play(KEYS, *["90 3C 40"] * 6000)
    cables.passes(0.2)
    shed = cables.gauge.shed_out[STRINGS]
    assert shed == cables.show.engine.state.cables[STRINGS].counts.shed > 0
    cables.passes(70.0)
    assert cables.gauge.shed_out == [0, 0]


def test_an_output_that_is_away_carries_nothing(cables: Cables) -> None:
    """An unplugged output has no load, whatever is played to it."""
    cables.bench.outputs["strings"].unplug()
    cables.passes(1.0, "90 3C 40")
    assert cables.gauge.loads[STRINGS] == 0.0


def test_outputs_that_an_edit_adds_and_takes_away(cables: Cables) -> None:
    """A new output is added at the end and starts without a history; a removed one keeps its place."""
    cables.passes(1.0, "90 3C 40")
    edited = SLOW.replace(
        'brass = { port = "Box 2" }', 'brass = { port = "Box 2" }\nbass = { port = "c", wire = "din" }'
    )
    cables.show.adopt(compile_rig(read(edited, "test"), after=cables.show.engine.state.compiled), edited)
    cables.gauge.look()
    assert len(cables.gauge.loads) == 3
    assert (cables.gauge.loads[1:], cables.gauge.peaks[1:]) == ([None, 0.0], [None, 0.0])
    assert cables.gauge.peaks[STRINGS] not in (None, 0)
    assert cables.gauge.shed_out == [0, 0, 0]
