"""Shows that go wrong, recorded and replayed: the same bytes at the same nanosecond."""

from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
import trio
import trio.testing

from engine.core.commands import PlayTestNote
from engine.live.recording_files import RecordingNames, write
from engine.offline.flight_recording import read_recording
from engine.offline.replay import Replay
from engine.rig.read.load import read
from tests.support.faults import (
    Fault,
    edit,
    everything_pulled,
    flood,
    input_pulled,
    input_silent,
    loop_cable,
    nothing,
    output_pulled,
    panic,
    scene_in_a_chord,
    service_stopped,
    sleep,
    synth_power_cycled,
    wrong_edit,
)
from tests.support.faulty_show import MS, FaultyShow, S

pytestmark = pytest.mark.slow


async def try_an_instrument(faulty: FaultyShow) -> None:
    """A player tries an instrument from the panel."""
    faulty.show.apply(PlayTestNote(faulty.rng.choice(faulty.show.outputs), 4, 60, 500 * MS))


#: not here: an engine that is killed loses its recording, and a plug-in that fails at random cannot be replayed
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
    sleep,
    edit,
    wrong_edit,
    panic,
    scene_in_a_chord,
    try_an_instrument,
)
MOMENTS = 15  # per fault: 225 in all


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
async def test_a_recording_replayed_gives_what_went_out(
    fault: Callable[..., Any], plug_in: None, tmp_path: Path, mock_clock: trio.testing.MockClock
) -> None:
    """Whatever goes wrong, the kept recording, read and replayed, gives every message that went out."""
    rng = Random(f"replay {fault.__name__}")
    async with trio.open_nursery() as nursery:
        faulty = FaultyShow(rng, tmp_path / "pit.toml", mock_clock, nursery)
        first = faulty.rig_file.read_text(encoding="utf-8")
        for _ in range(MOMENTS):
            faulty.play_song(rng.randrange(400 * MS, 1200 * MS))
            await faulty.wait(rng.randrange(100 * MS, 700 * MS))
            await fault(faulty)
            await faulty.wait(rng.randrange(300 * MS))
            if rng.random() < 0.5:  # otherwise held notes and moved controllers carry over to the next fault
                await faulty.let_go()
        show = faulty.show
        kept = show.recorder.last(faulty.now, faulty.now / S + 1)
        write(kept, tmp_path / "night.jsonl", RecordingNames("pit", show.inputs, show.outputs))
        nursery.cancel_scope.cancel()
    recording = read_recording(tmp_path / "night.jsonl")
    assert recording.whole
    replayed = Replay(read(first, "first"), first).run(recording)
    assert replayed.odd == []
    assert replayed.same == sum(each.way == "out" for each in recording.happened) > 0
