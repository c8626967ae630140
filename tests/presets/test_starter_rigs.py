"""The built-in starter rigs and instrument templates work as they are. (Our own data; no outside source.)"""

import pytest

from engine.core.cable.output_cable import Delivery
from engine.midi.kinds import is_press, is_release
from engine.rig.read.load import RigError, read
from engine.rig.read.templates import templates
from engine.rig.starter_rig import KINDS, starter_of
from tests.support.engine_calls import engine_of, recall

SECOND = 1_000_000_000
RIG = """
format = 1
[outputs]
out = {{ port = "Box" }}
[instruments.it]
output = "out"
channel = 1
like = "{kind}"
[[scenes]]
number = 1
name = "One"
burst = [{{ instrument = "it", program = 1 }}]
"""


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_rig_loads_compiles_plays_and_leaves_nothing_sounding(kind: str) -> None:
    """In every scene each input plays 12 keys of two octaves on channels 1 and 10; notes come out, and all end."""
    rig = read(starter_of(kind), f"{kind}.toml")
    engine = engine_of(rig)
    assert len(engine.state.compiled.scenes) == len(rig.scenes) >= 2
    now, sent = 0, list[Delivery]()
    for number in engine.state.compiled.scenes:
        sent += recall(engine, now, number)
        for source in range(len(engine.inputs)):
            keys = [(channel, key) for channel in (0, 9) for key in range(48, 72, 2)]
            for status, velocity in ((0x90, 64), (0x80, 64)):
                for channel, key in keys:
                    sent += engine.receive(now, source, bytes((status | channel, key, velocity)))
                now += SECOND
                while engine.due is not None and engine.due <= now:
                    sent += engine.tick(max(engine.due, now - SECOND))
    now += 10 * SECOND
    sent += engine.tick(now)
    presses = [(output, message[0] & 0x0F, message[1]) for output, message, _ in sent if is_press(message)]
    releases = [(output, message[0] & 0x0F, message[1]) for output, message, _ in sent if is_release(message)]
    assert presses
    assert sorted(presses) == sorted(releases)
    assert engine.state.ledger.sounding() == 0


def test_the_large_rig_has_its_size() -> None:
    """The studio is the large rig: 24 inputs and 32 outputs, all of them DIN cables."""
    rig = read(starter_of("studio"), "studio.toml")
    assert (len(rig.inputs), [output.wire for output in rig.outputs.values()]) == (24, ["din"] * 32)


@pytest.mark.parametrize("kind", templates())
def test_an_instrument_may_be_like_a_kind(kind: str) -> None:
    """Each template loads and compiles in an instrument, and supplies the keys that the instrument leaves out."""
    rig = read(RIG.format(kind=kind), "it.toml")
    assert rig.instruments["it"].bank == templates()[kind]["bank"]
    engine_of(rig)
    own = read(RIG.format(kind=kind).replace("channel = 1", 'channel = 1\nsettle = "5 ms"'), "it.toml")
    assert own.instruments["it"].settle == 5_000_000


def test_an_unknown_kind_is_reported() -> None:
    """An unknown template is rejected by line, with the names of the available ones."""
    with pytest.raises(RigError, match=r'it.toml:8: instruments.it.like: found "moon"; allowed: .*gm-module'):
        read(RIG.format(kind="moon"), "it.toml")
