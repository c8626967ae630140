"""`strip`: whole kinds of messages are removed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.strategies._internal.core import DataObject

from tests.support.check_values import check_value
from tests.support.filter_bench import MESSAGES, heard, refusal, step_of

EXAMPLES = {
    "notes": ["90 3C 40", "90 3C 00", "8F 3C 40"],
    "poly_aftertouch": ["A4 3C 0C"],
    "controllers": ["B0 00 01", "B9 07 64", "BF 77 00"],
    "channel_mode": ["B0 78 00", "B0 7B 00", "BF 7F 00"],
    "program": ["C0 05"],
    "aftertouch": ["D2 21"],
    "pitch_bend": ["E0 01 40"],
    "sysex": ["F0 7D 01 F7", "F0 F7"],
    "song_position": ["F2 2C 02"],
    "song_select": ["F3 03"],
    "tune_request": ["F6"],
    "clock": ["F8"],
    "transport": ["FA", "FB", "FC"],
    "active_sensing": ["FE"],
    "reset": ["FF"],
    "timecode": ["F1 24"],
}


@pytest.mark.parametrize("kind", EXAMPLES)
def test_a_kind_goes_and_all_others_stay(kind: str) -> None:
    """Each kind stops its own messages and no others (kinds: MIDI 1.0 Tables II, IV, V, VI, VII)."""
    others = [message for other, messages in EXAMPLES.items() if other != kind for message in messages]
    assert heard(f'filter = "strip", kinds = ["{kind}"]', *EXAMPLES[kind], *others) == others


@given(MESSAGES, st.data())
def test_every_message_is_of_a_kind_that_can_be_stripped(message: bytes, data: DataObject) -> None:
    """With every kind stripped there is silence, whatever comes in."""
    kinds = ", ".join(f'"{kind}"' for kind in data.draw(st.permutations(list(EXAMPLES))))
    assert step_of(f'filter = "strip", kinds = [{kinds}]')(message, 0) == ()


def test_one_controller_alone() -> None:
    """ "controller 1" stops the modulation wheel on every channel and no other controller."""
    assert heard('filter = "strip", kinds = ["controller 1"]', "B0 01 20", "BF 01 20", "B0 21 20", "90 01 20") == [
        "B0 21 20",
        "90 01 20",
    ]


def test_all_notes_off_can_be_kept_from_a_merge() -> None:
    """Stripping can stop All Notes Off, which would silence the other player of a merge (MIDI 1.0 p. A-4)."""
    message = check_value("mode-filter-merge").input["msg"].removesuffix(" from A")
    strip = 'filter = "strip", kinds = ["channel_mode"]'
    assert heard(strip, message, "B0 07 64") == ["B0 07 64"]
    # 124 to 127 end all notes as well (p. 20)
    ends_all = check_value("mode-123-127-notes-off")
    assert (heard(strip, *(f"B0 {number:02X} 00" for number in ends_all.input)) == []) is ends_all.expected


@pytest.mark.parametrize("which", ["mtc-full-25", "mtc-full-df", "mtc-full-example", "mtc-userbits"])
def test_time_code_in_sysex_is_time_code(which: str) -> None:
    """Full frames and user bits are stripped with the time code, other SysEx stays (RP-004 p. 5 and 6)."""
    strip = 'filter = "strip", kinds = ["timecode"]'
    show_control = "F0 7F 05 02 01 01 31 F7"
    assert heard(strip, check_value(which).expected, show_control, "F0 7E 7F 01 F7") == [
        show_control,
        "F0 7E 7F 01 F7",
    ]


def test_quarter_frames_are_time_code() -> None:
    """The eight quarter frames of the standard's printed example are all stripped (RP-004 p. 4)."""
    assert heard('filter = "strip", kinds = ["timecode"]', *check_value("mtc-qf-example").expected) == []


def test_what_is_allowed_is_said() -> None:
    """An unknown kind gets an answer that lists the known ones."""
    said = refusal('filter = "strip", kinds = ["pitchbend"]')
    assert said.startswith("kinds.0")
    assert all(kind in said for kind in EXAMPLES)
    assert '"controller N" with N from 0 to 127' in refusal('filter = "strip", kinds = ["controller 128"]')
    assert "a list of kinds, at least one" in refusal('filter = "strip", kinds = []')
    assert "one of" in refusal('filter = "strip", kinds = [["clock"]]')
