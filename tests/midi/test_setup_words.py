"""Set-up messages in words. Source of each figure: tests/reference."""

import pytest

from engine.midi.setup_words import set_up
from tests.support.check_values import check_value, check_values


def heard(words: str, channel: int = 0) -> list[str]:
    """The messages of these words, in hexadecimal."""
    return [message.hex(" ").upper() for message in set_up(words, channel).messages]


def test_general_midi_and_master_volume() -> None:
    """GM on, off and GM2 on, and master volume from zero to full, are the universal messages."""
    assert heard("GM on") == [check_value("usx-gm-on").expected]
    assert heard("gm off") == [check_value("usx-gm-off").expected]
    assert heard("GM2 on") == [check_value("usx-gm2-on").expected]
    for value14, words in ((0, "0"), (8192, "64"), (16383, "127")):
        assert heard(f"master volume {words}") == [check_value(f"usx-master-volume-{value14}").expected]


def test_pitch_bend_range_is_chosen_set_and_let_go_of() -> None:
    """A bend range of two semitones is sent as the whole transaction, with the null parameter at its end."""
    assert heard("pitch bend range 2") == check_value("rpn-sequence").expected


def test_a_bend_range_is_in_semitones() -> None:
    """The MSB has semitones, the LSB cents (rpn-0-bend-range)."""
    entry = check_value("rpn-0-bend-range")
    sent = heard(f"pitch bend range {entry.expected['semitones']}")
    numbers = (*entry.input["rpn"], entry.input["msb"], entry.expected["cents"])
    assert [int(message[6:], 16) for message in sent[:4]] == [*numbers]


def test_a_bend_range_reaches_as_far_as_mpe_does() -> None:
    """0 to 96 semitones, with 48 as the usual range of an MPE zone (M1-100-UM, MPE 1.0, from memory); no more."""
    for semitones in (0, 48, 96):
        assert heard(f"pitch bend range {semitones}")[2:4] == [f"B0 06 {semitones:02X}", "B0 26 00"]
    with pytest.raises(ValueError, match='"pitch bend range 0" to "96"'):
        set_up("pitch bend range 97", 0)


def test_registered_parameters_have_their_numbers() -> None:
    """Bend range, fine tuning and coarse tuning are 0, 1 and 2 (rpn-ids)."""
    entry = check_value("rpn-ids")
    numbers = dict(zip(entry.expected, entry.input, strict=True))
    words = {
        "pitch bend range 2": "Pitch Bend Sensitivity",
        "fine tuning 0": "Fine Tuning",
        "coarse tuning 0": "Coarse Tuning",
    }
    for said, name in words.items():
        assert heard(said)[:2] == ["B0 65 00", f"B0 64 {numbers[name]:02X}"]


@pytest.mark.parametrize("cents", [-100, -50, -1, 0, 1, 50, 99])
def test_fine_tuning_is_in_cents(cents: int) -> None:
    """Cents are 100/8192 times (value - 8192), as in the standard's table (rpn-1-fine): the nearest value is sent."""
    (low, lowest), (mid, centre), (high, highest) = (
        (entry.input["msb"] << 7 | entry.input["lsb"], entry.expected["cents"]) for entry in check_values("rpn-1-fine-")
    )
    step = (highest - lowest) / (high - low)
    assert centre == pytest.approx(lowest + (mid - low) * step, abs=1e-5)
    msb, lsb = (int(message[6:], 16) for message in heard(f"fine tuning {cents}")[2:4])
    assert lowest + (msb << 7 | lsb) * step == pytest.approx(cents, abs=step / 2 + 1e-5)


@pytest.mark.parametrize("msb", ["00", "40", "7F"])
def test_coarse_tuning_is_in_semitones(msb: str) -> None:
    """A step is 100 cents, with 40H in the middle (rpn-2-coarse)."""
    semitones = check_value(f"rpn-2-coarse-{msb}").expected["cents"] // 100
    assert heard(f"coarse tuning {semitones}")[2] == f"B0 06 {msb}"


def test_local_control_controllers_and_hexadecimal() -> None:
    """Local control is controller 122 on the instrument's channel (MIDI 1.0 Table IV); anything else goes in hex."""
    ((number, value),) = check_value("mode-local-only").input.items()
    assert heard("local off", 4) == [f"B4 {int(number):02X} {value:02X}"]
    assert heard("local on", 4) == ["B4 7A 7F"]
    assert heard("controller 7 = 100", 15) == ["BF 07 64"]
    assert heard("F0 7D 01 F7") == ["F0 7D 01 F7"]


@pytest.mark.parametrize("words", ["", "lokal off", "master volume 128", "controller 128 = 1", "F0 7D", "fine tuning"])
def test_wrong_words_say_what_is_allowed(words: str) -> None:
    """Unknown words are refused with a list of the known ones."""
    with pytest.raises(ValueError, match="pitch bend range"):
        set_up(words, 0)
