"""`mpe`: a zone becomes one channel, a channel becomes a zone, and a zone another one."""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filters.registry import Step
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.filter_bench import PlainSurroundings, at_once, heard, refusal, step_in, step_of
from tests.support.mpe_receiver import MpeReceiver
from tests.support.played_engine import PlayedEngine

LOWER, UPPER = "{ members = [2, 8], bend = 48 }", "{ members = [9, 15], bend = 48 }"
PIANO = "{ channel = 1, bend = 2 }"
TO_CHANNEL = f'filter = "mpe", from = {LOWER}, to = {PIANO}'
TO_ZONE = f'filter = "mpe", from = {PIANO}, to = {LOWER}'
TO_OTHER = f'filter = "mpe", from = {LOWER}, to = {UPPER}'
CENT = 0.01


def _bend(channel: int, value: int) -> bytes:
    return bytes((0xE0 | channel - 1, value & 0x7F, value >> 7))


# A zone becomes one channel


def test_all_notes_of_a_zone_play_on_one_channel() -> None:
    """Notes of members and of the manager arrive on the channel, whatever else is sent."""
    assert heard(TO_CHANNEL, "91 3C 40", "97 40 41", "90 43 42", "81 3C 10", "97 40 00") == [
        "90 3C 40",
        "90 40 41",
        "90 43 42",
        "80 3C 10",
        "90 40 00",
    ]


def test_what_shapes_a_note_comes_before_it() -> None:
    """Bend, timbre and pressure that a member was sent before its note (M1-100) are the channel's before the note."""
    start = check_value("mpe-note-start")
    same = f'filter = "mpe", from = {LOWER}, to = {{ channel = 3, bend = 48 }}'
    assert heard(same, *start.expected) == [message for message in start.expected if message != "D2 00"], (
        "no pressure is what the channel has"
    )


def test_the_last_note_shapes_the_channel() -> None:
    """The bend of the last key that is down is the channel's; when it is up, that of the one before."""
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 48 }}')
    assert heard(step, "91 3C 40", "E1 00 41", "E2 00 42", "92 40 40") == [
        "90 3C 40",
        "E0 00 41",
        "E0 00 42",
        "90 40 40",
    ]
    assert heard(step, "E1 00 43") == [], "it does not lead now"
    assert heard(step, "82 40 40") == ["80 40 40", "E0 00 43"]


@pytest.mark.parametrize(("note", "leads"), [("highest", "93"), ("lowest", "91"), ("last", "92")])
def test_whose_bend_counts(note: str, leads: str) -> None:
    """The highest, the lowest or the last key that is down shapes the channel."""
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 48 }}, note = "{note}"')
    heard(step, "91 30 40", "93 50 40", "92 40 40")
    sent = {status: heard(step, f"E{status[1]} 00 50") for status in ("91", "92", "93")}
    assert [status for status, messages in sent.items() if messages] == [leads]


def test_a_bend_of_member_and_manager_add_up() -> None:
    """A note sounds as high as its key and both bends say, within what the channel's bend reaches (M1-100)."""
    value = check_value("mpe-bend-sum")
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 12 }}')
    receiver = MpeReceiver(1, 12)
    given = value.input
    for message in (
        _bend(2, given["member"]["value"]),
        bytes((0x91, given["note"], 64)),
        _bend(1, given["manager"]["value"]),
    ):
        for sent in at_once(step, message):
            receiver.hear(sent)
    assert receiver.pitches() == [pytest.approx(value.expected["semitones"], abs=value.expected["tolerance"])]


@pytest.mark.parametrize("value", check_values("mpe-bend-", "semitones"), ids=lambda value: value.id)
def test_bends_are_scaled_from_range_to_range(value: CheckValue) -> None:
    """A bend at one range sounds as high at another, exact to a cent."""
    semitones, bend = value.input["semitones"], value.expected["value"]
    zone = f"{{ members = [2, 8], bend = {value.input['range']} }}"
    for goes in (48, 96):
        step = step_of(f'filter = "mpe", from = {zone}, to = {{ channel = 1, bend = {goes} }}')
        receiver = MpeReceiver(1, goes)
        for message in (_bend(2, bend), b"\x91\x3c\x40"):
            for sent in at_once(step, message):
                receiver.hear(sent)
        assert receiver.pitches() == [pytest.approx(60 + semitones, abs=CENT)]


def test_what_the_bend_does_not_reach_ends_at_its_end() -> None:
    """Seven semitones on a channel whose bend reaches two are the end of its travel."""
    seven = check_value("mpe-bend-7-at-48").expected["bytes"]
    assert heard(TO_CHANNEL, f"E1 {seven}", "91 3C 40") == ["E0 7F 7F", "90 3C 40"]
    seven_down = check_value("mpe-bend-m7-at-48").expected["bytes"]
    assert heard(TO_CHANNEL, f"E1 {seven_down}", "91 3C 40") == ["E0 00 00", "90 3C 40"]


def test_after_the_last_note_the_bend_is_at_the_centre() -> None:
    """Bend and pressure of the channel come to rest once no key is down; what members send then is not passed."""
    step = step_of(TO_CHANNEL)
    heard(step, "E1 00 41", "D1 30", "91 3C 40")
    assert heard(step, "81 3C 40") == ["80 3C 40", "E0 00 40", "D0 00"]
    assert heard(step, "E1 00 40", "D1 00", "E1 00 42") == []


def test_the_manager_speaks_for_the_channel() -> None:
    """Pedals, programs, key pressure, bend and pressure of the manager pass; members have none of these (M1-100)."""
    step = step_of(TO_CHANNEL)
    assert heard(step, "B0 40 7F", "C0 05", "A0 3C 10", "D0 20", "E0 00 50", "B0 07 64") == [
        "B0 40 7F",
        "C0 05",
        "A0 3C 10",
        "D0 20",
        "E0 00 50",
        "B0 07 64",
    ]
    assert heard(step, "B1 40 7F", "C1 05", "B1 07 64") == []


@pytest.mark.parametrize(("name", "members"), [("lower", "[2, 15]"), ("upper", "[1, 15]"), ("upper", "[9, 15]")])
def test_each_zone_has_its_manager(name: str, members: str) -> None:
    """The manager of the lower zone is channel 1, that of the upper zone 16 (M1-100)."""
    manager = check_value("mpe-managers").expected[name]["wire"]
    step = step_of(f'filter = "mpe", from = {{ members = {members} }}, to = {{ channel = 5 }}')
    assert heard(step, f"B{manager:X} 40 7F") == ["B4 40 7F"]


def test_configurations_are_not_passed() -> None:
    """Zone configurations (RPN 6) and bend ranges (RPN 0) are of this end alone; other parameters of the manager pass
    whole."""
    step = step_of(TO_CHANNEL)
    assert heard(step, "B0 65 00", "B0 64 06", "B0 06 07", "B1 65 00", "B1 64 00", "B1 06 30") == []
    assert heard(step, "B0 65 00", "B0 64 00", "B0 06 02") == []
    assert heard(step, "B0 65 00", "B0 64 01", "B0 06 40") == ["B0 65 00", "B0 64 01", "B0 06 40"]


def test_other_channels() -> None:
    """Channels of neither end pass; one that belongs to the other end alone does not, as it would be mixed in."""
    assert heard(TO_CHANNEL, "99 24 40", "F8") == ["99 24 40", "F8"]
    apart = f'filter = "mpe", from = {UPPER}, to = {PIANO}'
    assert heard(apart, "90 3C 40", "9F 3C 40") == ["90 3C 40"]


def test_all_notes_off_of_a_member_ends_its_notes_alone() -> None:
    """Sent on one member it ends what that member plays; on the manager it passes (MIDI 1.0 Table IV)."""
    step = step_of(TO_CHANNEL)
    heard(step, "91 3C 40", "92 40 40")
    assert heard(step, "B1 7B 00") == ["80 3C 40"]
    assert heard(step, "B0 7B 00") == ["B0 7B 00"]


def test_mode_messages_of_the_manager_end_and_reset_what_is_known() -> None:
    """After All Notes Off a member's bend has no note to shape; after Reset All Controllers the channel's bend is at
    rest, and so is a member's until it sends one (RP-015)."""
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 48 }}')
    heard(step, "91 3C 40")
    assert heard(step, "E1 00 50") == ["E0 00 50"]
    heard(step, "B0 7B 00")
    assert heard(step, "E1 00 60") == []
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 48 }}')
    heard(step, "91 3C 40", "E1 00 50")
    assert heard(step, "B0 79 00") == ["B0 79 00"]
    assert heard(step, "E1 00 40") == []


# One channel becomes a zone


def test_each_note_gets_the_member_that_was_silent_longest() -> None:
    """Members take turns, and one whose note ended last comes last; its release goes where its press went."""
    step = step_of('filter = "mpe", from = { channel = 1 }, to = { members = [2, 4] }')
    went = [_notes(step, bytes((0x90, key, 64))) for key in (60, 62, 64)]
    assert went == [["91 3C 40"], ["92 3E 40"], ["93 40 40"]]
    assert heard(step, "80 3E 40", "80 3C 40") == ["82 3E 40", "81 3C 40"]
    assert _notes(step, b"\x90\x43\x40") == ["92 43 40"]


def _notes(step: Step, message: bytes) -> list[str]:
    return [one.hex(" ").upper() for one in at_once(step, message) if one[0] & 0xE0 == 0x80]


@pytest.mark.parametrize("name", ["mpe-alloc", "mpe-alloc-full"])
def test_members_are_chosen_as_the_standard_says(name: str) -> None:
    """The fewest notes, then the longest since its note-off (M1-100)."""
    value = check_value(name)
    members = value.input["members"]
    step = step_of(f'filter = "mpe", from = {{ channel = 1 }}, to = {{ members = [{members[0]}, {members[-1]}] }}')
    active: dict[str, int] = value.input["active"]
    offs: dict[str, int] = value.input.get("last_off", {})
    most = max(active.values())
    keys = iter(range(40, 120))
    sounding: dict[int, list[int]] = {member: [] for member in members}
    for _ in range(most * len(members)):
        key = next(keys)
        (note,) = _notes(step, bytes((0x90, key, 64)))
        sounding[int(note[1], 16) + 1].append(key)
    ending = sorted(members, key=lambda member: offs.get(str(member), 0))
    for member in ending:
        for key in sounding[member][active.get(str(member), 0) :]:
            at_once(step, bytes((0x80, key, 64)))
    (note,) = _notes(step, bytes((0x90, next(keys), 64)))
    assert int(note[1], 16) + 1 == value.expected


def test_members_that_sound_for_others_are_taken_last() -> None:
    """First a silent member, then one where a note has just ended, then one where another player's note sounds."""
    show = PlainSurroundings()
    show.sounds = {1: True, 2: False, 3: True}  # channels 2, 3 and 4
    step = step_in('filter = "mpe", from = { channel = 1 }, to = { members = [2, 5] }', show)
    taken = [int(_notes(step, bytes((0x90, key, 64)))[0][1], 16) + 1 for key in (60, 62, 64, 65)]
    assert taken == [5, 3, 2, 4]


def test_two_filters_that_share_a_zone_know_what_its_members_were_sent() -> None:
    """What shapes a note comes before it (M1-100), whichever of them has played its member last; a timbre that only the
    other one moves goes back to the middle."""
    show = PlainSurroundings()
    keys = step_in('filter = "mpe", from = { channel = 1 }, to = { members = [2, 2] }', show)
    grid = step_in('filter = "mpe", from = { members = [2, 8] }, to = { members = [2, 2] }', show)
    heard(keys, "90 3C 40", "80 3C 40")
    assert heard(grid, "E1 00 60", "B1 4A 7F", "91 40 40")[-4:] == ["E1 00 60", "B1 4A 7F", "D1 00", "91 40 40"]
    heard(grid, "81 40 40")
    assert heard(keys, "90 3C 40", "80 3C 40") == ["E1 00 40", "B1 4A 40", "D1 00", "91 3C 40", "81 3C 40"]
    assert heard(keys, "90 3C 40", "80 3C 40") == ["91 3C 40", "81 3C 40"]


def test_what_a_member_has_lost_is_sent_again_before_a_note() -> None:
    """A channel that has come to rest since its last note is bent again: half a semitone at 48 (M1-100)."""
    show = PlainSurroundings()
    step = step_in(TO_ZONE, show)
    heard(step, "E0 00 50", "90 3C 40", "80 3C 40", *(f"90 {key:02X} 40" for key in range(64, 77)))
    show.lost = {0xE1}
    assert heard(step, "90 3C 40")[-2:] == ["E1 55 40", "91 3C 40"]


def test_a_poly_pressure_keyboard_drives_an_mpe_instrument() -> None:
    """Pressure of a key is the pressure of its member (M1-100 allows key pressure on the manager only)."""
    step = step_of(TO_ZONE)
    heard(step, "90 3C 40", "90 40 40")
    assert heard(step, "A0 40 30", "A0 3C 10", "A0 50 7F") == ["D2 30", "D1 10"]
    heard(step, "80 40 40")
    assert heard(step, "A0 40 00") == []


def test_pedals_and_programs_go_to_the_manager() -> None:
    """Controllers, programs and mode messages are the manager's; bend, pressure and timbre go to all that sounds."""
    step = step_of(TO_ZONE)
    heard(step, "90 3C 40", "90 40 40")
    assert heard(step, "B0 40 7F", "C0 05", "B0 7A 00") == ["B0 40 7F", "C0 05", "B0 7A 00"]
    assert heard(step, "D0 20", "B0 4A 30") == ["D1 20", "D2 20", "B1 4A 30", "B2 4A 30"]
    assert heard(step, "B0 65 00", "B0 64 00", "B0 06 02") == []


# A zone becomes another zone


def test_a_zone_moves_with_its_notes_expressions() -> None:
    """Notes, bends, timbres and pressures of members go together, and the manager's messages to the other manager."""
    step = step_of(TO_OTHER)
    assert heard(step, "E2 00 41", "B2 4A 20", "D2 10", "92 3C 40") == ["E8 00 41", "B8 4A 20", "D8 10", "98 3C 40"]
    assert heard(step, "E2 00 42", "D2 11", "82 3C 40") == ["E8 00 42", "D8 11", "88 3C 40"]
    assert heard(step, "B0 40 7F", "E0 00 50", "C0 03") == ["BF 40 7F", "EF 00 50", "CF 03"]


@pytest.mark.parametrize("member", range(1, 8))
def test_what_ends_the_notes_of_a_member_moves_with_it(member: int) -> None:
    """All sound off, all notes off and a velocity prefix go where the notes of that member go, whichever it is."""
    step = step_of(TO_OTHER)
    *_, sent = heard(step, f"9{member} 3C 40")
    assert sent.endswith("3C 40")
    for mode in ("78 00", "7B 00", "58 20"):
        assert heard(step, f"B{member} {mode}") == [f"B{sent[1]} {mode}"]


def test_fingers_press_the_keys_of_a_poly_pressure_instrument() -> None:
    """Each finger's pressure is that of its key, also what came before the note; the manager's is the channel's."""
    step = step_of(f'filter = "mpe", from = {LOWER}, to = {PIANO}, pressure = "keys"')
    assert heard(step, "D1 20", "91 3C 40", "92 40 40") == ["90 3C 40", "A0 3C 20", "90 40 40"]
    assert heard(step, "D2 30", "D1 21", "D0 05") == ["A0 40 30", "A0 3C 21", "D0 05"]
    assert heard(step, "82 40 40", "D2 31", "E1 00 42") == ["80 40 40", "E0 00 70"]


def test_key_pressure_is_never_sent_on_a_member() -> None:
    """It becomes the pressure of the member."""
    value = check_value("mpe-member-poly")
    step = step_of(TO_OTHER)
    heard(step, "91 3C 40")
    assert heard(step, value.input["message"]) == ["D8 40"]


# Properties, with a receiver written from the standard

_MEMBER = st.integers(2, 8)
_KEY = st.integers(60, 64)
_BEND = st.sampled_from([0, 4000, 8192, 8533, 9387, 16383])
_ZONE_MUSIC = st.lists(
    st.one_of(
        st.builds(lambda channel, key: bytes((0x8F + channel, key, 64)), _MEMBER, _KEY),
        st.builds(lambda channel, key: bytes((0x7F + channel, key, 64)), _MEMBER, _KEY),
        st.builds(_bend, st.integers(1, 8), _BEND),
        st.builds(lambda channel, value: bytes((0xCF + channel, value)), _MEMBER, st.integers(0, 127)),
        st.builds(lambda channel, value: bytes((0xAF + channel, 74, value)), _MEMBER, st.integers(0, 127)),
    ),
    max_size=30,
)


def _played(music: Sequence[bytes]) -> list[bytes]:
    """The music without double presses, and without releases of keys that are up."""
    down: set[tuple[int, int]] = set()
    played = []
    for message in music:
        if message[0] & 0xE0 == 0x80:
            key = (message[0] & 0x0F, message[1])
            if (message[0] & 0xF0 == 0x90) == (key in down):
                continue
            down ^= {key}
        played.append(message)
    return played


def _to(step: Step, message: bytes, receiver: MpeReceiver) -> None:
    for sent in at_once(step, message):
        receiver.hear(sent)


@given(_ZONE_MUSIC)
def test_a_zone_sounds_the_same_in_another_zone(music: list[bytes]) -> None:
    """At every moment the same pitches, pressures and timbres sound behind the filter as before it: exact to a cent."""
    came, goes = "members = [2, 8], bend = 48", "members = [9, 15], bend = 60, manager_bend = 12"
    step = step_of(f'filter = "mpe", from = {{ {came}, manager_bend = 7 }}, to = {{ {goes} }}')
    before, behind = MpeReceiver(1, 7, range(2, 9), 48), MpeReceiver(16, 12, range(9, 16), 60)
    for message in _played(music):
        before.hear(message)
        _to(step, message, behind)
        assert behind.pitches() == pytest.approx(before.pitches(), abs=CENT)
        assert behind.expressions() == before.expressions()


@given(_ZONE_MUSIC)
def test_the_leading_note_of_a_zone_sounds_the_same_on_one_channel(music: list[bytes]) -> None:
    """The last key that is down sounds as high on the channel as in the zone; without any, nothing is bent or pressed
    but by the manager."""
    came = "members = [2, 8], bend = 48, manager_bend = 12"
    step = step_of(f'filter = "mpe", from = {{ {came} }}, to = {{ channel = 1, bend = 60 }}')
    before, behind = MpeReceiver(1, 12, range(2, 9), 48), MpeReceiver(1, 60)
    for message in _played(music):
        before.hear(message)
        _to(step, message, behind)
        if before.sounding:
            channel, key = before.sounding[-1]
            assert behind.pitch(1, key) == pytest.approx(before.pitch(channel, key), abs=CENT)
            assert behind.pressures[1] == before.pressures[channel]
        else:
            assert behind.pitch(1, 60) == pytest.approx(before.pitch(1, 60), abs=CENT)
            assert behind.pressures[1] == 0


_KEYBOARD = st.lists(
    st.one_of(
        st.builds(lambda key, form: bytes((form, key, 64)), st.integers(60, 70), st.sampled_from([0x80, 0x90])),
        st.builds(lambda value: _bend(1, value), _BEND),
        st.builds(lambda key, value: bytes((0xA0, key, value)), st.integers(60, 70), st.integers(0, 127)),
    ),
    max_size=30,
)


@given(_KEYBOARD)
def test_a_channel_sounds_the_same_in_a_zone(music: list[bytes]) -> None:
    """At every moment the same pitches sound, also where there are more notes than members."""
    step = step_of('filter = "mpe", from = { channel = 1, bend = 12 }, to = { members = [2, 5], bend = 48 }')
    before, behind = MpeReceiver(1, 12), MpeReceiver(1, 2, range(2, 6), 48)
    for message in _played(music):
        before.hear(message)
        _to(step, message, behind)
        assert behind.pitches() == pytest.approx(before.pitches(), abs=CENT)


@given(_KEYBOARD)
def test_each_key_keeps_its_own_pressure_in_a_zone(music: list[bytes]) -> None:
    """While there are members enough, the pressure of each key that is down is that of its member alone."""
    step, behind = (
        step_of('filter = "mpe", from = { channel = 1 }, to = { members = [2, 15] }'),
        MpeReceiver(1, 2, range(2, 16), 48),
    )
    pressed: dict[int, int] = {}
    for message in _played(music):
        _to(step, message, behind)
        if message[0] == 0x90:
            pressed[message[1]] = 0
        elif message[0] == 0x80:
            del pressed[message[1]]
        elif message[0] == 0xA0 and message[1] in pressed:
            pressed[message[1]] = message[2]
        assert {key: behind.pressures[channel] for channel, key in behind.sounding} == pressed


@given(_ZONE_MUSIC)
def test_a_round_trip_keeps_a_single_notes_pitch(music: list[bytes]) -> None:
    """Zone to channel to zone: while one note sounds, it is within one cent of its pitch."""
    there = step_of(f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, bend = 50 }}')
    back = step_of(f'filter = "mpe", from = {{ channel = 1, bend = 50 }}, to = {LOWER}')
    before, behind = MpeReceiver(1, 2, range(2, 9), 48), MpeReceiver(1, 2, range(2, 9), 48)
    for message in _played(music):
        before.hear(message)
        for between in at_once(there, message):
            for sent in at_once(back, between):
                behind.hear(sent)
        if len(before.sounding) == 1 and abs(before.pitches()[0] - before.sounding[0][1]) <= 48:
            assert behind.pitches() == pytest.approx(before.pitches(), abs=CENT)
        assert len(behind.sounding) == len(before.sounding)


RIG = """
format = 2
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
lead = { port = "c" }
second = { port = "d" }
[[scenes]]
number = 1
name = "One channel"
routes = [{ from = "keys", to = "lead", through = [
  { filter = "mpe", from = { members = [2, 8] }, to = { channel = 1, bend = 12 } },
] }]
[[scenes]]
number = 2
name = "Another zone"
routes = [{ from = "keys", to = ["lead", "second"], through = [
  { filter = "mpe", from = { members = [2, 8] }, to = { members = [12, 15] }  },
] }]
[[scenes]]
number = 3
name = "From one channel"
routes = [{ from = ["keys", "pads"], to = "second", through = [
  { filter = "mpe", from = { channel = 1 }, to = { members = [2, 4] } },
] }]
[[scenes]]
number = 4
name = "Silence"
"""
_PERFORMANCE = st.lists(
    st.one_of(
        st.tuples(st.integers(0, 30), st.just("play"), st.integers(0, 1), st.one_of(_ZONE_MUSIC, _KEYBOARD)),
        st.tuples(st.integers(0, 30), st.just("recall"), st.integers(1, 4), st.none()),
        st.tuples(st.just(1), st.sampled_from(["panic", "lose"]), st.integers(0, 1), st.none()),
    ),
    max_size=8,
)


@settings(max_examples=60)
@given(_PERFORMANCE)
def test_nothing_is_left_hanging_bent_or_pressed(
    performance: list[tuple[int, str, int, list[bytes] | None]],
) -> None:
    """Random performances with recalls, panics and pulled cables: once every key is up nothing sounds, and in an empty
    scene all is at rest."""
    engine = PlayedEngine(RIG)
    for wait, what, which, music in performance:
        engine.perform([(wait, what, which, message) for message in ([b""] if music is None else music)])
    engine.comes_to_rest()


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "from" in refusal('filter = "mpe", to = { channel = 1 }')
    assert "at least one end must be a zone" in refusal('filter = "mpe", from = { channel = 1 }, to = { channel = 2 }')
    assert "either members = [first, last] or channel = N" in refusal(
        f'filter = "mpe", from = {LOWER}, to = {{ bend = 2 }}'
    )
    assert "begin at 2" in refusal('filter = "mpe", from = { members = [3, 9] }, to = { channel = 1 }')
    assert "the lower one first" in refusal('filter = "mpe", from = { members = [8, 2] }, to = { channel = 1 }')
    assert "two channels, [first, last]" in refusal('filter = "mpe", from = { members = 2 }, to = { channel = 1 }')
    assert "semitones from 1 to 96" in refusal(
        'filter = "mpe", from = { members = [2, 8], bend = 97 }, to = { channel = 1 }'
    )
    assert "manager_bend goes with members; for a channel write bend" in refusal(
        f'filter = "mpe", from = {LOWER}, to = {{ channel = 1, manager_bend = 2 }}'
    )
    assert "note goes with a zone that becomes one channel" in refusal(f'{TO_ZONE}, note = "last"')
    assert "pressure goes with a zone that becomes" in refusal(f'{TO_ZONE}, pressure = "keys"')
    assert "'last', 'highest' or 'lowest'" in refusal(f'{TO_CHANNEL}, note = "first"')
