"""Set-up messages go out before the sounds, at the start and when an output comes back."""

from engine.core.cable.output_cable import Delivery
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, engine_of, output_there, recall
from tests.support.pit_engine import hexed

RIG = """
format = 1
[inputs]
keys = { port = "K" }
[outputs]
module = { port = "M", wire = "din" }
[instruments.piano]
output = "module"
channel = 1
setup = ["local off", "GM on", "pitch bend range 2"]
[instruments.bass]
output = "module"
channel = 2
setup = ["GM on"]
[[scenes]]
number = 1
name = "One"
routes = [{ from = "keys", to = "module" }]
burst = [{ instrument = "piano", program = 2 }, { instrument = "bass", program = 33 }]
[[scenes]]
number = 2
name = "Two"
burst = [{ instrument = "piano", program = 5 }]
"""
MS = 1_000_000
GM_ON = bytes.fromhex("F0 7E 7F 09 01 F7")
LOCAL_OFF = bytes.fromhex("B0 7A 00")


def run(engine: Engine, now: int, out: list[Delivery], until: int) -> None:
    """Let the output's time pass."""
    while engine.due is not None and engine.due <= until:
        now = max(now, engine.due)
        out += engine.tick(now)


def times(out: list[Delivery]) -> dict[bytes, int]:
    """When each message was last sent."""
    return {message: at for _, message, at in out}


def test_at_the_start_set_up_comes_first_once_and_has_its_time() -> None:
    """GM on leaves once for two instruments of an output, and nothing but real time follows on any channel for 200 ms
    (common practice, no source); then come local off, the bend range and the sounds."""
    engine = engine_of(read(RIG, "pit.toml"))
    out = recall(engine, 0, 1)
    run(engine, 0, out, 1000 * MS)
    sent = [message for _, message, _ in out]
    assert sent[0] == GM_ON
    assert sent.count(GM_ON) == 1
    assert 200 * MS <= min(at for _, message, at in out if message != GM_ON) <= 203 * MS
    assert sent.index(LOCAL_OFF) < sent.index(b"\xb0\x65\x00") < sent.index(b"\xc0\x01")
    assert b"\xc1\x20" in sent


def test_a_scene_recalled_meanwhile_leaves_the_set_up_whole() -> None:
    """A second recall while the set-up is going out replaces the sounds, never the set-up."""
    engine = engine_of(read(RIG, "pit.toml"))
    out = recall(engine, 0, 1)
    out += recall(engine, 50 * MS, 2)
    run(engine, 50 * MS, out, 1000 * MS)
    sent = [message for _, message, _ in out]
    assert sent.count(LOCAL_OFF) == 1
    assert b"\xc0\x01" not in sent
    assert sent[-1] == b"\xc0\x04"


def test_notes_of_every_channel_wait_while_the_module_resets() -> None:
    """A note played on a channel without an instrument also waits until GM on has taken effect."""
    engine = engine_of(read(RIG, "pit.toml"))
    out = recall(engine, 0, 1)
    out += engine.receive(20 * MS, 0, b"\x95\x3c\x40")
    run(engine, 20 * MS, out, 1000 * MS)
    assert times(out)[b"\x95\x3c\x40"] >= 200 * MS


def test_an_output_that_is_back_is_set_up_again_and_a_scene_change_is_not() -> None:
    """Set-up messages go out again when the output comes back, before its sounds, and on no other recall."""
    engine = engine_of(read(RIG, "pit.toml"))
    out = recall(engine, 0, 1)
    run(engine, 0, out, 1000 * MS)
    out = recall(engine, 2000 * MS, 2)
    run(engine, 2000 * MS, out, 3000 * MS)
    assert [message for _, message, _ in out] == [b"\xc0\x04"]
    out = output_there(engine, 4000 * MS, 0, None)
    run(engine, 4000 * MS, out, 9000 * MS)
    sent = [message for _, message, _ in out]
    assert sent.index(GM_ON) < sent.index(LOCAL_OFF) < sent.index(b"\xc0\x04")


def test_a_reset_that_is_edited_goes_out_when_the_output_is_plugged_in_again() -> None:
    """The edit itself sends no SysEx, which may reset an instrument, nor does a scene change; the output gets the new
    set-up when it is back, and a new engine sends it at its start."""
    engine = engine_of(read(RIG, "pit.toml"))
    out = recall(engine, 0, 1)
    run(engine, 0, out, 1000 * MS)
    edited = read(RIG.replace("local off", "master volume 100"), "pit.toml")
    volume = bytes.fromhex("F0 7F 7F 04 01 00 64 F7")  # MIDI 1.0 p. 57
    out = adopt(engine, 2000 * MS, edited)
    out += recall(engine, 2100 * MS, 2)
    run(engine, 2100 * MS, out, 4000 * MS)
    assert [message for _, message, _ in out] == [b"\xc0\x04"]
    started = engine_of(edited)
    for now, set_up, out in (
        (5000 * MS, engine, output_there(engine, 5000 * MS, 0, None)),
        (0, started, recall(started, 0, 1)),
    ):
        run(set_up, now, out, now + 5000 * MS)
        assert volume in [message for _, message, _ in out]
        assert LOCAL_OFF not in [message for _, message, _ in out]


def test_a_value_of_the_set_up_that_is_edited_is_sent_at_once() -> None:
    """The lines that are new go out, and no others; sounds that are as they were are not sent."""
    engine = engine_of(read(RIG, "pit.toml"))
    run(engine, 0, recall(engine, 0, 1), 1000 * MS)
    edited = RIG.replace("bend range 2", "bend range 12").replace('"local off"', '"controller 7 = 90", "C0 09"')
    out = adopt(engine, 2000 * MS, read(edited, "pit.toml"))
    run(engine, 2000 * MS, out, 4000 * MS)
    bend_range = "B0 65 00, B0 64 00, B0 06 0C, B0 26 00, B0 65 7F, B0 64 7F"  # MIDI 1.0 p. 17
    assert [*hexed(out)] == ["B0 07 5A", *bend_range.split(", ")]


def test_an_output_that_is_back_is_on_its_sounds_whatever_is_recalled_meanwhile() -> None:
    """While the silencing of a returned output is on its cable, another scene with the same sound is recalled: what the
    instrument may have forgotten is sent, and so is the sound of a channel that this scene does not name."""
    text = RIG.replace('"local off", "GM on", "pitch bend range 2"', "").replace('"GM on"', "")
    engine = engine_of(read(text.replace("program = 5", "program = 2"), "pit.toml"))
    run(engine, 0, recall(engine, 0, 1), 1000 * MS)
    output_there(engine, 2000 * MS, 0, None)
    out = recall(engine, 2001 * MS, 2)
    run(engine, 2001 * MS, out, 9000 * MS)
    assert [message for message in hexed(out) if message[0] == "C"] == ["C1 20", "C0 01"]
