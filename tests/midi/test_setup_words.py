"""Set-up messages in words. Source of each figure: tests/reference."""

import re

import pytest

from engine import handbook
from engine.midi.setup_words import Receiver, is_value, nearest_words, set_up
from tests.support.check_values import check_value, check_values


def heard(words: str, channel: int = 0) -> list[str]:
    """The messages of these words, in hexadecimal."""
    return [message.hex(" ").upper() for message in set_up(words, Receiver(channel)).messages]


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
        set_up("pitch bend range 97", Receiver())


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


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("volum 90", "volume 0"),
        ("nprn 1/8 = 3", "nrpn 1/8 = 64"),
        ("F0 7D 01", "F0 7D 01 F7"),
        ("volume 128", None),
        ("mono", None),
        ("", None),
    ],
)
def test_misspelt_words_have_a_nearest_example(line: str, meant: str | None) -> None:
    """By their letters; a number out of its range is no misspelling."""
    assert nearest_words(line) == meant


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


@pytest.mark.parametrize("words", ["", "lokal off", "F0 7D", "volumes 3"])
def test_unknown_words_are_refused_with_a_list_of_the_known_ones(words: str) -> None:
    with pytest.raises(
        ValueError, match=r'"GM on", .*"pitch bend range 0" to "96", .*"chorus to reverb 0 %" to "100 %"'
    ):
        set_up(words, Receiver())


@pytest.mark.parametrize(
    ("words", "allowed"),
    [
        ("master volume 128", '"master volume 0" to "127"'),
        ("master volume -1", '"master volume 0" to "127"'),
        ("fine tuning", '"fine tuning -100" to "99" (cents)'),
        ("local maybe", '"local on", "local off"'),
        ("rpn 0/200 = 1", '"nrpn 1/8 = 64", "rpn 0/0 = 12" (also with / 14, then 0 to 16383)'),
        ("reverb time 20 s", '"reverb time 0.4 s" to "8.8 s"'),
        ("master tuning 480 Hz", '"master tuning 415.31 Hz" to "466.16 Hz"'),
        ("tuning bank 129", '"tuning bank 1" to "128"'),
        (
            "chorus type warm",
            '"chorus type" with one of "chorus 1", "chorus 2", "chorus 3", "chorus 4", "feedback chorus", "flanger"',
        ),
    ],
)
def test_words_with_a_wrong_value_are_refused_with_what_it_may_be(words: str, allowed: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(allowed)}$"):
        set_up(words, Receiver())


@pytest.mark.parametrize(
    ("begin", "ends", "unit"),
    [
        ("reverb time", (0.4, 8.8), " s"),
        ("master tuning", (415.31, 466.16), " Hz"),
        ("chorus rate", (0, 15.5), " Hz"),
        ("chorus depth", (0.3, 40), " ms"),
        ("chorus feedback", (0, 96), " %"),
        ("chorus to reverb", (0, 100), " %"),
    ],
)
def test_what_is_said_to_be_allowed_is(begin: str, ends: tuple[float, float], unit: str) -> None:
    """At both ends; their messages are held against the standard elsewhere."""
    for end in ends:
        assert set_up(f"{begin} {end}{unit}", Receiver()).messages


@pytest.mark.parametrize(
    ("begin", "low", "high"),
    [
        ("master volume", 0, 127),
        ("pitch bend range", 0, 96),
        ("fine tuning", -100, 99),
        ("coarse tuning", -64, 63),
        *((begin, 0, 127) for begin in ("volume", "pan", "expression", "reverb send", "chorus send")),
        ("song", 1, 128),
        ("tuning program", 1, 128),
        ("tuning bank", 1, 128),
        ("master coarse tuning", -64, 63),
        ("program", 1, 128),
    ],
)
def test_a_whole_number_is_allowed_to_both_ends_and_no_further(begin: str, low: int, high: int) -> None:
    """Seven bits, or as many semitones and cents as their messages have room for; players count from 1."""
    for number in (low, high):
        assert set_up(f"{begin} {number}", Receiver(0)).messages
    for number in (low - 1, high + 1):
        with pytest.raises(ValueError, match=begin):
            set_up(f"{begin} {number}", Receiver(0))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("volume 90", ["B2 07 5A"]),
        ("Pan  64", ["B2 0A 40"]),
        ("expression 127", ["B2 0B 7F"]),
        ("program 12", ["C2 0B"]),
        ("controller 1 = 8192 / 14", ["B2 01 40", "B2 21 00"]),
        ("controller 74=10", ["B2 4A 0A"]),
        ("nrpn 1/8 = 64", ["B2 63 01", "B2 62 08", "B2 06 40", "B2 65 7F", "B2 64 7F"]),
        ("nrpn 1/8 = 129 / 14", ["B2 63 01", "B2 62 08", "B2 06 01", "B2 26 01", "B2 65 7F", "B2 64 7F"]),
        ("rpn 0/0 = 12", ["B2 65 00", "B2 64 00", "B2 06 0C", "B2 26 00", "B2 65 7F", "B2 64 7F"]),
        ("song 1", ["F3 00"]),
        ("song 128", ["F3 7F"]),
        ("start", ["FA"]),
        ("continue", ["FB"]),
        ("stop", ["FC"]),
        ("go 14.5", ["F0 7F 05 02 7F 01 31 34 2E 35 F7"]),
    ],
)
def test_the_words_of_format_2(words: str, expected: list[str]) -> None:
    """Controllers 7, 10 and 11 (Table III), bank-like pairs of MSB and LSB (p. 12), parameters with the null parameter
    at their end (p. 17; MIDI Association Table 3a), song select and transport (Table V, VI), GO (RP-002 4.3)."""
    sent = set_up(words, Receiver(2, device=5)).messages
    assert [message.hex(" ").upper() for message in sent] == expected


def test_programs_count_as_the_instrument_counts_them() -> None:
    """An instrument that counts from 0 has a program 0 and no program 128."""
    assert set_up("program 0", Receiver(0, programs_from=0)).messages == (b"\xc0\x00",)
    for words, first in (("program 0", 1), ("program 128", 0), ("program 129", 1)):
        with pytest.raises(ValueError, match="program 12"):
            set_up(words, Receiver(0, programs_from=first))


def test_words_without_a_channel_are_known_as_such() -> None:
    """An output has no channel: words for a channel are refused, others and whole messages are not."""
    for words in ("start", "song 3", "GM on", "master volume 3", "go 1", "B5 07 01"):
        assert set_up(words, Receiver(None)).messages
    with pytest.raises(ValueError, match="need no channel"):
        set_up("volume 90", Receiver(None))


def test_values_and_events() -> None:
    """Controllers and programs stay as they are set; modes, notes, bends and system messages happen (Tables I-VI)."""
    values = ["B0 07 01", "B5 00 01", "C0 01", "B0 62 01"]
    events = ["B0 7B 00", "90 3C 40", "80 3C 40", "E0 00 40", "D0 01", "A0 3C 01", "FA", "F3 01", "F0 7D 01 F7"]
    assert [is_value(bytes.fromhex(each)) for each in values] == [True] * len(values)
    assert [is_value(bytes.fromhex(each)) for each in events] == [False] * len(events)


def test_all_words_of_the_handbook_are_understood() -> None:
    """Each example in its table of words."""
    page = handbook.pages()["instruments-and-sounds"].text
    rows = [line.split("|")[1] for line in page.split("| words |")[1].split("\n\n")[0].splitlines()[2:]]
    words = [each for row in rows for each in re.findall('`"(.+?)"`', row)]
    assert len(words) > 30
    for each in words:
        assert set_up(each, Receiver()).messages, each


@pytest.mark.parametrize(
    ("words", "sent"),
    [
        ("controller 7 = 127", ["B0 07 7F"]),
        ("controller 7 = 0", ["B0 07 00"]),
        ("controller 118 = 5", ["B0 76 05"]),
    ],
)
def test_a_controller_reaches_from_0_to_127(words: str, sent: list[str]) -> None:
    """A data byte has seven bits (MIDI 1.0, Table I)."""
    assert heard(words) == sent
    with pytest.raises(ValueError, match="controller 7 = 100"):
        heard("controller 7 = 128")
