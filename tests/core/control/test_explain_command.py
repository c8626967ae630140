"""What a message commands, in words: what the explanation says must agree with what the engine does."""

import pytest

from engine.core.control.explain_command import commanded
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall

RIG = """
format = 1
[inputs]
keys = { port = "a" }
desk = { port = "b" }
[outputs]
out = { port = "c" }
[remote]
inputs = ["desk"]
device = 1
[[routes]]
from = ["keys", "desk"]
to = "out"
name = "all"
[[scenes]]
number = 1
name = "One"
[[scenes]]
number = 61
name = "Finale"
[[controls]]
input = "keys"
when = { controller = 64, press = "short" }
do = "next"
[[controls]]
input = "keys"
when = { controller = 64, press = "long" }
do = "back"
[[controls]]
input = "keys"
when = { controller = 20, turn = "up" }
do = "next"
[[controls]]
input = "keys"
when = { song = 3 }
do = "mute"
route = "all"
scenes = [1]
[[controls]]
input = "keys"
when = { note = 36 }
do = "send"
output = "out"
messages = ["C0 05"]
pass = true
"""
GO = "F0 7F 01 02 7F 01 36 31 F7"  # MIDI Show Control 1.0: GO, cue 61


@pytest.mark.parametrize(
    ("source", "message", "words"),
    [
        (
            "keys",
            "B0 40 7F",
            "a control takes it; it is not routed: next, by a short press; back, by a long press",
        ),
        ("keys", "B0 40 00", "a control takes it; it is not routed: it commands nothing by itself"),
        ("keys", "B0 14 01", "a control takes it; it is not routed: next"),
        ("keys", "B0 14 7F", "a control takes it; it is not routed: it commands nothing by itself"),
        ("keys", "F3 02", "a control takes it; it is not routed: mute all"),
        ("keys", "90 24 40", "a control acts on it, and it is routed as well: send C0 05 to out"),
        ("keys", "90 25 40", None),
        ("keys", "F8", None),
        ("keys", GO, None),
        ("desk", GO, "[remote] takes it; it is not routed: recall scene 61 Finale"),
        (
            "desk",
            GO.replace("31", "32"),
            "[remote] takes it; it is not routed: recall cue 62, which is not in the rig",
        ),
        ("desk", "B0 40 7F", None),
    ],
)
def test_what_a_message_commands(source: str, message: str, words: str | None) -> None:
    """The explanation names what is commanded and whether the message is routed as well; the engine routes it in
    exactly those cases. (What a message commands is up to the rig: no outside source but MIDI Show Control 1.0 for the
    GO.)"""
    rig, asked = read(RIG, "test"), bytes.fromhex(message)
    found = commanded(rig, rig.scenes[0], source, asked)
    assert (found and found.words) == words
    engine = engine_of(rig)
    recall(engine, 0, 1)
    routed = any(sent == asked for _, sent, _ in engine.receive(1_000_000_000, engine.inputs.index(source), asked))
    assert routed == (found is None or found.routed)
