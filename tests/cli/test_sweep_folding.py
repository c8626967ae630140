"""A sweep over the channels shown as one line. (Our own design; no outside source but MIDI 1.0 Tables II and III.)"""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from engine.cli.sweep_folding import folded as folded_with
from engine.midi.unit_words import UnitWords


def folded(events: list[dict[str, Any]], units: UnitWords | None = None) -> list[tuple[dict[str, Any], str]]:
    return folded_with(events, units or UnitWords())


def out(port: str, *messages: bytes) -> list[dict[str, Any]]:
    return [{"at": 0, "way": "out", "port": port, "message": each.hex(" ").upper(), "text": ""} for each in messages]


def on_all(*alike: bytes, channels: range = range(16)) -> list[bytes]:
    return [bytes((each[0] | channel,)) + each[1:] for each in alike for channel in channels]


PEDALS_UP, SOUND_OFF, CENTRE = b"\xb0\x40\x00", b"\xb0\x78\x00", b"\xe0\x00\x40"


def test_a_panic_is_one_line_an_output() -> None:
    """A sweep over all channels of two outputs at once is one line for each output, with count, channels and kinds."""
    swept = on_all(PEDALS_UP, CENTRE, SOUND_OFF)
    mixed = [each for two in zip(out("strings", *swept), out("brass", *swept), strict=True) for each in two]
    (first, said), (second, also) = folded(mixed)
    assert (first["port"], second["port"]) == ("strings", "brass")
    assert said == also == "48 messages on channels 1 to 16: sustain pedal 0 (up), pitch bend centre, all sound off"


def test_what_is_before_between_and_after_stays() -> None:
    """Notes around a sweep keep their lines and places, and so do reports and incoming messages."""
    report = {"at": 0, "way": "told", "port": "engine", "message": None, "text": "a panic"}
    came = {**out("keys", b"\x90\x3c\x40")[0], "way": "in"}
    events = [came, *out("strings", b"\x90\x3c\x40"), report, *out("strings", *on_all(SOUND_OFF), b"\x80\x3c\x40")]
    assert [said for _, said in folded(events)] == [
        "channel 1 note on C4 velocity 64",
        "channel 1 note on C4 velocity 64",
        "a panic",
        "16 messages on channels 1 to 16: all sound off",
        "channel 1 note off C4 velocity 64",
    ]


def test_a_layer_is_no_sweep() -> None:
    """A note on four channels is four lines; a sweep over eight channels with gaps is one line that names them all."""
    assert len(folded(out("strings", *on_all(b"\x90\x3c\x40", channels=range(4))))) == 4
    ((_, said),) = folded(out("strings", *on_all(SOUND_OFF, channels=range(0, 16, 2))))
    assert said == "8 messages on channels 1, 3, 5, 7, 9, 11, 13, 15: all sound off"


def test_a_sweep_that_is_cut_short_says_what_it_has() -> None:
    """Two kinds over different channels, where one poll ends and the next begins, are two lines."""
    cut = on_all(PEDALS_UP, channels=range(9, 16)) + on_all(CENTRE)
    assert [said for _, said in folded(out("strings", *cut))] == [
        "7 messages on channels 10 to 16: sustain pedal 0 (up)",
        "16 messages on channels 1 to 16: pitch bend centre",
    ]


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from([*on_all(PEDALS_UP, SOUND_OFF), b"\xf8"]))))
def test_no_message_is_left_out(played: list[tuple[str, bytes]]) -> None:
    """Whatever is sent, the lines together account for exactly that number of messages."""
    lines = folded([event for port, message in played for event in out(port, message)])
    assert sum(int(said.split()[0]) if "messages on" in said else 1 for _, said in lines) == len(played)


def test_a_parameter_is_one_line() -> None:
    """Selection and data of an NRPN are the line of its last message; another port is not mixed in, and what a port has
    selected holds for what passes later (MIDI 1.0 p. 17)."""
    units = UnitWords()
    one = [bytes((0xB0, number, value)) for number, value in ((99, 1), (98, 8), (6, 64))]
    other = [bytes((0xB0, number, value)) for number, value in ((101, 0), (100, 0), (6, 2))]
    mixed = [each for two in zip(out("strings", *one), out("brass", *other), strict=True) for each in two]
    assert folded(mixed, units) == [
        (out("strings", one[-1])[0], "channel 1 NRPN 1/8 = 64"),
        (out("brass", other[-1])[0], "channel 1 RPN 0/0 = 2"),
    ]
    assert [said for _, said in folded(out("strings", b"\xb0\x26\x10"), units)] == ["channel 1 NRPN 1/8 = 8208 / 14"]


def test_a_controller_of_14_bits_is_one_line() -> None:
    """The line of its LSB has the whole value."""
    both = out("strings", b"\xb0\x07\x40", b"\xb0\x27\x05")
    assert folded(both, UnitWords()) == [(both[-1], "channel 1 volume 8197 / 14")]


def test_a_sweep_over_null_parameters_is_one_line() -> None:
    """A panic that selects no parameter on any channel is a sweep like any other."""
    nulls = on_all(b"\xb0\x65\x7f", b"\xb0\x64\x7f")
    assert len(folded(out("strings", *nulls))) == 1


def test_a_drum_is_named() -> None:
    """The engine says which drum a press strikes; it stands behind the note."""
    (struck,) = out("kit", b"\x99\x24\x40")
    assert [said for _, said in folded([{**struck, "drum": "Bass Drum 1"}])] == [
        "channel 10 note on C2 velocity 64 (Bass Drum 1)"
    ]
