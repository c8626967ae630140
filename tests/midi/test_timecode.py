"""Labels, drop-frame counting and the messages of time code, compared with the standards' figures and a library."""

from collections import Counter
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from timecode.timecode import Timecode

from engine.midi.timecode import (
    RATES,
    Label,
    Rate,
    from_full_frame,
    from_nibbles,
    full_frame,
    label_of,
    quarter_frames,
    read_label,
)
from tests.support.check_values import CheckValue, check_value, check_values

#: the rates as the reference file and the library call them
NAMES = {"24": "24", "25": "25", "30": "30", "29.97": "29.97 drop", "29.97df": "29.97 drop"}
DROP = RATES["29.97 drop"]

rates = st.sampled_from(list(RATES.values()))
labels = rates.flatmap(lambda rate: st.integers(0, rate.day - 1).map(lambda frame: Label(rate, frame)))


def rate_of(name: object) -> Rate:
    return RATES[NAMES[str(name)]]


def parameters(entries: list[CheckValue]) -> list[Any]:
    return [pytest.param(each.input, each.expected, id=each.id) for each in entries]


def cable(messages: tuple[bytes, ...]) -> list[str]:
    return [message.hex(" ").upper() for message in messages]


# Drop-frame counting. Source of each figure: tests/reference


@pytest.mark.parametrize(("given", "expected"), parameters(check_values("df-count")))
def test_the_frames_of_a_drop_frame_label(given: dict[str, str], expected: dict[str, int]) -> None:
    """A drop-frame label has the reference's frame number, counted from 0, and that frame has this label."""
    assert read_label(given["label"], DROP).frame == expected["frames"]
    assert str(Label(DROP, expected["frames"])) == given["label"]


@pytest.mark.parametrize(("given", "expected"), parameters(check_values("ndf-")))
def test_the_frames_of_a_plain_label(given: dict[str, Any], expected: dict[str, int]) -> None:
    """A non-drop label has the reference's frame number, counted from 0, and that frame has this label."""
    rate = rate_of(given["fps"])
    assert read_label(given["label"], rate).frame == expected["frames"]
    assert str(Label(rate, expected["frames"])) == given["label"]


@pytest.mark.parametrize(("given", "expected"), parameters(check_values("df-next")))
def test_the_label_after_a_drop_frame_label(given: dict[str, str], expected: str) -> None:
    """The next label is the reference's, and the one before that is this label."""
    following = read_label(given["label"], DROP).plus(1)
    assert str(following) == expected
    assert str(following.plus(-1)) == given["label"]


def test_frames_in_ten_minutes_an_hour_and_a_day() -> None:
    """Drop-frame labels count 17,982, 107,892 and 2,589,408 frames in ten minutes, an hour and a day."""
    expected = {key: check_value(f"df-per-{key}").expected for key in ("10-min", "hour", "day")}
    assert label_of(DROP, 0, 10, 0, 0).frame == expected["10-min"]
    assert label_of(DROP, 1, 0, 0, 0).frame == expected["hour"]["drop"]
    assert label_of(RATES["30"], 1, 0, 0, 0).frame == expected["hour"]["non_drop"]
    assert DROP.day == expected["day"]


def test_labels_that_do_not_exist() -> None:
    """Frames 00 and 01 exist only in every tenth minute; in any other they are read as the next existing frame."""
    invalid = check_value("df-invalid")
    for text, exists in zip(invalid.input, invalid.expected, strict=True):
        assert (str(read_label(text, DROP)) == text) == exists
    resolved = check_value("df-invalid-resolve")
    assert str(read_label(resolved.input["label"], DROP)) == resolved.expected
    assert str(read_label("00:22:00:01", DROP)) == resolved.expected


def test_the_published_example_of_drop_frame_against_plain() -> None:
    """00:22:00;02 is the frame that non-drop counting calls 00:21:58:22: 40 labels were skipped."""
    found = check_value("df-to-ndf-example")
    frame = read_label(found.input["drop"], DROP).frame
    assert str(Label(RATES["30"], frame)) == found.expected["non_drop"]
    assert read_label("00:22:00:02", RATES["30"]).frame - frame == found.expected["dropped"]


def test_how_long_labels_last() -> None:
    """An hour and a day of labels last as long as the reference says, to the nanosecond."""
    hour, day = (check_value(f"df-realtime-{key}").expected for key in ("hour", "day"))
    assert DROP.nanoseconds(4 * 107_892) == round(hour["drop"] * 1e9)
    assert DROP.nanoseconds(4 * 108_000) == round(hour["non_drop"] * 1e9)
    assert DROP.nanoseconds(4 * DROP.day) == round(day["real_seconds"] * 1e9)


@pytest.mark.parametrize("name", ["24", "25", "30", "29.97"])
def test_the_frames_of_a_day(name: str) -> None:
    """Each frame of the first and the last hour, and the two seconds around each minute between them, have the labels
    that the library `timecode` gives them, and the labels give those frames."""
    rate = rate_of(name)
    theirs = Timecode(name, frames=1, force_non_drop_frame=not rate.drop)  # it counts from 1
    if rate.drop:
        assert theirs.drop_frame
    hour = rate.day // 24
    frames = {*range(hour), *range(rate.day - hour, rate.day)}
    for minute in range(1, 1440):  # those of drop frames begin up to two frames from here
        full = minute * rate.day // 1440
        frames.update(range(full - 40, full + 40))
    for frame in frames:
        parts = theirs.frames_to_tc(frame + 1)[:4]
        assert Label(rate, frame).parts == parts
        assert label_of(rate, *parts).frame == frame


@given(labels)
def test_a_label_is_read_as_it_is_written(label: Label) -> None:
    """Any label of any rate, written, reads back the same; also with a colon before the frames."""
    assert read_label(str(label), label.rate) == label
    assert read_label(f" {str(label).replace(';', ':')} ", label.rate) == label


@given(labels, st.integers(-5_000_000, 5_000_000))
def test_going_on_and_looking_back_agree(label: Label, frames: int) -> None:
    """A label moved on by some frames is that many frames later, the short way round the day."""
    day = label.rate.day
    assert (label.plus(frames).after(label) - frames) % day == 0
    assert -day // 2 <= label.plus(frames).after(label) <= day // 2
    assert label.plus(frames).plus(-frames) == label


@pytest.mark.parametrize(
    "text",
    ["", "1:2:3", "24:00:00:00", "00:60:00:00", "00:00:60:00", "00:00:00:25", "00:00:00.10", "-1:00:00:00", "٠٠x"],
)
def test_what_is_no_label(text: str) -> None:
    """A text that is not a label is refused with the allowed form."""
    with pytest.raises(ValueError, match=r"time code such as|hours to 23"):
        read_label(text, RATES["25"])


# Messages. RP-004/RP-008 4.2.1; source of each figure: tests/reference


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        each
        for each in parameters(check_values("mtc-qf-"))
        if isinstance(each.values[0], dict) and "time" in each.values[0]
    ],
)
def test_the_eight_quarter_frames_of_a_label(given: dict[str, Any], expected: list[str]) -> None:
    """A label is spelt by the reference's eight messages, and they spell that label."""
    label = read_label(given["time"], rate_of(given["rate"]))
    assert cable(quarter_frames(label)) == expected
    assert from_nibbles([int(message[4], 16) for message in expected]) == label


@pytest.mark.parametrize(("given", "expected"), parameters(check_values("mtc-full-", given="time")))
def test_the_full_message_of_a_label(given: dict[str, Any], expected: str) -> None:
    """A label's full message is the reference's, and it gives that label, whatever device it is for (p. 5)."""
    label = read_label(given["time"], rate_of(given["rate"]))
    message = bytes.fromhex(expected)
    if "device" in given:
        assert full_frame(label) == full_frame(label, int(given["device"], 16)) == message
    assert from_full_frame(message) == label
    assert from_full_frame(message[:2] + b"\x05" + message[3:]) == label


def test_the_rate_is_in_the_hours() -> None:
    """The rate is in bits 5 and 6 of the hours byte, hence in the last of the eight nibbles."""
    for name, byte in check_value("mtc-rate-bits").expected.items():
        assert full_frame(label_of(rate_of(name), 1, 0, 0, 0))[5] == int(byte, 16)
    for name, nibbles in check_value("mtc-rate-nibble7").expected.items():
        found = {quarter_frames(label_of(rate_of(name), hour, 0, 0, 0))[7][1] & 0x0F for hour in range(24)}
        assert sorted(found) == nibbles
    assert RATES["30"].code == check_value("mtc-29-97-nd").expected


def test_the_order_of_the_pieces() -> None:
    """Frames, seconds, minutes, hours, each the low nibble first, numbered from 0 to 7."""
    named = check_value("mtc-qf-types").expected
    pieces = [message[1] for message in quarter_frames(label_of(RATES["30"], 17, 18, 19, 20))]
    parts = {"frames": 20, "seconds": 19, "minutes": 18, "hours": 17 | 3 << 5}
    for number, (piece, name) in enumerate(zip(pieces, named, strict=True)):
        what, which = name.split()[:2]
        assert piece == number << 4 | (parts[what] & 0x0F if which == "low" else parts[what] >> 4)


@pytest.mark.parametrize("name", ["24", "25", "29.97", "30"])
def test_the_pace_of_quarter_frames(name: str) -> None:
    """Four messages per frame, spaced as in the reference, so that eight take two frames."""
    rate, expected = rate_of(name), check_value(f"mtc-qf-rate-{name.replace('.', '_')}").expected
    assert rate.nanoseconds(1) / 1e6 == pytest.approx(expected["spacing_ms"], abs=2e-6)  # given to the nanosecond
    assert rate.nanoseconds(8) / 1e6 == pytest.approx(expected["group_ms"], abs=1e-6)
    assert rate.quarters(1000 * 10**9) / 1000 == pytest.approx(expected["per_second"], abs=1e-3)


def test_the_load_of_quarter_frames() -> None:
    """At 30 frames per second quarter frames take 7.68 percent of a DIN cable (3,125 bytes per second)."""
    load = RATES["30"].quarters(10**9) * len(quarter_frames(Label(RATES["30"], 0))[0]) / 3125
    assert load * 100 == pytest.approx(check_value("mtc-bandwidth").expected["percent"])


@given(rates, st.integers(0, 10**9))
def test_quarters_and_nanoseconds_are_inverse(rate: Rate, quarters: int) -> None:
    """A quarter frame has begun from its own nanosecond on and not before, however far from the start."""
    at = rate.nanoseconds(quarters)
    assert rate.quarters(at) == quarters
    assert quarters == 0 or rate.quarters(at - 1) == quarters - 1


def test_reserved_bits_are_ignored() -> None:
    """Reserved bits of frames, seconds and minutes change nothing (p. 2)."""
    label = label_of(RATES["25"], 1, 2, 3, 4)
    nibbles = [message[1] & 0x0F for message in quarter_frames(label)]
    for piece, bits in ((1, 0x0E), (3, 0x0C), (5, 0x0C), (7, 0x08)):
        nibbles[piece] |= bits
    assert from_nibbles(nibbles) == label
    entry = check_value("mtc-reserved")
    nibbles = [0] * 8
    for message in entry.input["qf"]:
        nibbles[int(message[3], 16)] = int(message[4], 16)
    read = from_nibbles(nibbles)
    assert read is not None
    _, _, seconds, frames = read.parts
    assert {"frames_high": frames >> 4, "seconds_high": seconds >> 4} == entry.expected


@given(st.lists(st.integers(0, 15), min_size=8, max_size=8))
def test_any_nibbles_spell_a_label_or_none(nibbles: list[int]) -> None:
    """Eight nibbles spell an existing label or none; they never raise an error."""
    label = from_nibbles(nibbles)
    assert label is None or 0 <= label.frame < label.rate.day


@given(st.binary(max_size=12))
def test_other_sysex_is_no_full_message(body: bytes) -> None:
    """A SysEx with other contents gives no label, user bits included (p. 6)."""
    message = b"\xf0" + bytes(byte & 0x7F for byte in body) + b"\xf7"
    assert from_full_frame(message) is None or message[3:5] == b"\x01\x01"
    assert from_full_frame(bytes.fromhex(check_value("mtc-userbits").expected)) is None


def test_each_label_of_an_hour_is_spelt_once() -> None:
    """No two frames of a drop-frame hour have the same label."""
    seen = Counter(str(Label(DROP, frame)) for frame in range(107_892))
    assert max(seen.values()) == 1


@pytest.mark.parametrize(
    ("place", "byte"),
    [(0, 0xF1), (1, 0x7E), (3, 0x02), (4, 0x02)],
    ids=["SysEx", "universal", "time code", "full frame"],
)
def test_only_a_full_message_is_one(place: int, byte: int) -> None:
    """Ten bytes, of which the first two and the fourth and fifth say what they are (RP-004 p. 5); any other is none."""
    message = bytearray(full_frame(label_of(RATES["25"], 1, 2, 3, 4)))
    assert from_full_frame(bytes(message)) is not None
    assert from_full_frame(bytes((*message, 0xF7))) is None
    assert from_full_frame(bytes(message[:9])) is None
    message[place] = byte
    assert from_full_frame(bytes(message)) is None
