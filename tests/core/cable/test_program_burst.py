"""Blank steps of a burst: they keep their place and send nothing. (Our own design; no outside source.)"""

import pytest

from engine.rig.models.rig import BurstStep
from engine.rig.read.load import RigError, read
from tests.support.engine_calls import command, engine_of
from tests.support.pit_engine import MS, PORTS, engine, hexed, run_dry

SCENES = """
[[scenes]]
number = 1
name = "Only blanks"
burst = [ { instrument = "second" }, { output = "brass", channel = 10 } ]
[[scenes]]
number = 2
name = "One sound"
burst = [
  { instrument = "second" }, { instrument = "lead", program = 4 }, { output = "strings", channel = 3 },
]
"""


def test_a_scene_of_blank_steps_sends_nothing_and_counts_no_instrument() -> None:
    """Blank steps send no byte on a recall or a resend, and the answer counts no instrument and no time for them."""
    router = engine(SCENES)
    for do, scene in (("scene", 1), ("resend", None)):
        outcome, deliveries = command(router, 0, do, scene)
        assert (hexed(deliveries), hexed(run_dry(router, 0)[1])) == ([], [])
        assert (outcome.done, outcome.instruments, outcome.burst_bytes, outcome.ready_ns) == (True, 0, 0, 0)


def test_blank_steps_among_others_send_nothing() -> None:
    """If two of three steps are blank, one is sent and one instrument is counted."""
    router = engine(SCENES)
    outcome, deliveries = command(router, 0, "scene", 2, "shell")
    sent = hexed([*deliveries, *run_dry(router, MS)[1]])
    assert len(sent) == 1
    assert sent[0].endswith("03")
    assert outcome.instruments == 1


@pytest.mark.parametrize(
    ("keys", "blank"),
    [
        ({"instrument": "lead"}, True),
        ({"output": "brass", "channel": 10}, True),
        ({"instrument": "lead", "sound": "A"}, False),
        ({"instrument": "lead", "program": 0}, False),
        ({"output": "brass", "channel": 10, "program": 1}, False),
    ],
)
def test_a_step_is_blank_without_sound_and_program(keys: dict[str, object], blank: bool) -> None:
    """A step with neither sound nor program is blank."""
    assert BurstStep.model_validate(keys).blank == blank


@pytest.mark.parametrize("keys", [{"instrument": "lead", "bank": [1, 2]}, {"output": "brass"}, {}])
def test_a_half_step_is_refused(keys: dict[str, object]) -> None:
    """A bank without a program, an output without a channel, and an empty step are all invalid."""
    with pytest.raises(ValueError, match=r"program|channel|either"):
        BurstStep.model_validate(keys)


def test_an_instrument_may_ask_for_its_program_at_every_recall() -> None:
    """`always = true` needs format 2; its step is sent though the instrument is on that sound, and no other is."""
    rig = (
        PORTS.replace("WIRE", "fast").replace('settle = "30 ms"', "always = true")
        + """
[[scenes]]
number = 1
name = "One"
burst = [ { instrument = "lead", sound = "A" }, { instrument = "second", sound = "A" } ]
[[scenes]]
number = 2
name = "Two"
burst = [ { instrument = "lead", sound = "A" }, { instrument = "second", sound = "A" } ]
"""
    )
    with pytest.raises(RigError, match=r"always.*format = 2"):
        read(rig, "test")
    router = engine_of(read(rig.replace("format = 1", "format = 2"), "test"))
    command(router, 0, "scene", 1)
    run_dry(router, 0)
    outcome, sent = command(router, 100 * MS, "scene", 2)
    assert hexed(sent) == ["B0 00 01", "B0 20 0B", "C0 14"]
    assert (outcome.instruments, outcome.unchanged, outcome.burst_bytes) == (1, 1, 8)
    assert outcome.sentence == "scene 2 Two, 0 ms, 1 instrument"
