"""Each fault of the stage at random moments of a real song, with scene changes, in virtual time: at 40, or as many as
BAYLEAF_MOMENTS says.

Afterwards, once every key and pedal of the player is up, each synth is checked, not our ledger: no note sounds, no
pedal is down, no wheel or bend is off rest, and every instrument is on the bank and program of the scene in force."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
import trio
import trio.testing

from tests.support import breaking_filter
from tests.support.faults import (
    Fault,
    edit,
    everything_pulled,
    filter_raises,
    flood,
    input_pulled,
    input_silent,
    kill,
    loop_cable,
    nothing,
    output_pulled,
    panic,
    panic_twice,
    scene_in_a_chord,
    service_stopped,
    sleep,
    synth_power_cycled,
    wrong_edit,
)
from tests.support.faulty_show import MS, FaultyShow, S

pytestmark = pytest.mark.slow

MOMENTS = int(os.environ.get("BAYLEAF_MOMENTS", "40"))

FAULTS: tuple[Fault, ...] = (
    nothing,
    input_pulled,
    output_pulled,
    synth_power_cycled,
    everything_pulled,
    service_stopped,
    input_silent,
    loop_cable,
    flood,
    filter_raises,
    kill,
    sleep,
    edit,
    wrong_edit,
    panic,
    panic_twice,
    scene_in_a_chord,
)


@pytest.fixture(scope="module")
def table() -> Iterator[list[tuple[str, int, int, int]]]:
    """One line per fault: its name, how often it occurred, messages in, messages out. Printed at the end."""
    lines: list[tuple[str, int, int, int]] = []
    yield lines
    print(f"\n{'fault':<20}{'times':>7}{'messages in':>14}{'messages out':>14}")
    for name, times, came, went in lines:
        print(f"{name:<20}{times:>7}{came:>14,}{went:>14,}")


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
async def test_after_each_fault_nothing_hangs(
    fault: Callable[..., Any],
    table: list[tuple[int | str, ...]],
    plug_in: None,
    tmp_path: Path,
    mock_clock: trio.testing.MockClock,
) -> None:
    """Whatever goes wrong and when, afterwards no note sounds, all controllers rest and the scene's sounds are on."""
    rng = Random(fault.__name__)
    async with trio.open_nursery() as nursery:
        faulty = FaultyShow(rng, tmp_path / "pit.toml", mock_clock, nursery)
        done = 0
        for _ in range(MOMENTS):
            faulty.play_song(rng.randrange(400 * MS, 1200 * MS))
            await faulty.wait(rng.randrange(100 * MS, 700 * MS))
            await fault(faulty)
            breaking_filter.broken = False
            await faulty.wait(rng.randrange(300 * MS))
            await faulty.let_go()
            assert faulty.complaints(forgiving=fault is kill) == [], f"moment {done} at {faulty.now / S:.3f} s"
            for gear in faulty.system.gear.values():
                if fault is kill:
                    gear.strict.sounding.clear()
            done += 1
        nursery.cancel_scope.cancel()
    assert done == MOMENTS
    if fault is loop_cable:  # in some scenes no route feeds the loop
        assert sum("a loop was found" in said for said in faulty.said) > MOMENTS // 2
    table.append((fault.__name__, done, faulty.messages_in, sum(g.heard for g in faulty.system.gear.values())))
