"""Remote commands in a rig: which inputs may send them, what happens, and where the answers go.

Sources: MIDI 1.0 Detailed Specification 4.2.1; MIDI Show Control 1.1.1, RP-002/014; MIDI Machine Control 1.0, RP-013;
our own SysEx as DEVELOPERS.md has it.
"""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.command_result import CommandResult
from engine.core.control.remote_commands import MOST_WAITING
from engine.core.control.remote_messages import BLOCK, LONGEST_REQUEST, RouteRequest, own, read_own
from engine.core.engine import Engine
from engine.midi.byte_stream import StreamParser
from engine.midi.machine_control import MachineControl
from engine.midi.seven_bit_packing import unpack
from engine.midi.show_control import ShowControl
from engine.midi.timecode import RATES, read_label
from tests.support.engine_calls import adopt, mute, recall
from tests.support.pit_engine import MS, engine, hexed, run_dry
from tests.support.random_remote_messages import US, is_in_order, random_message, valid_messages
from tests.support.remote_writing import machine_control, plain_request, recall_request, route_request, show_control

KEYS, PADS, FOOT = 0, 1, 2
STRINGS, BRASS = 0, 1
SCENES = """
[[routes]]
name = "all"
from = ["keys", "pads"]
to = "strings"
[[scenes]]
number = 1
name = "Overture"
routes = [ { from = "pads", to = "brass", name = "pads" } ]
[[scenes]]
number = 61
name = "Finale"
burst = [ { output = "brass", channel = 1, program = 7 } ]
[[scenes]]
number = 300
name = "Encore"
[[controls]]
input = "pads"
when = { sysex = "F0 7D 62 6C 01 05 02 78 F7" }
do = "back"
[sync.clock]
from = "internal"
to = ["brass"]
[sync.timecode]
from = "internal"
rate = "30"
start = "00:00:00:00"
to = ["brass"]
[remote]
inputs = ["pads", "foot"]
device = 5
to = ["brass"]
"""


def router(scenes: str = SCENES) -> Engine:
    """The rig above in scene 1."""
    made = engine(scenes)
    recall(made, 0, 1)
    run_dry(made, 0)
    return made


def answers(made: Engine, message: bytes, source: int = FOOT) -> list[tuple[Any, ...]]:
    """Our own replies to a message, decoded: the command, then its content."""
    out = made.receive(MS, source, message)
    out += run_dry(made, MS)[1]
    replies = [reply for _, sent, _ in out if (reply := read_own(sent)) is not None]
    assert all(to == BRASS for to, sent, _ in out if read_own(sent))
    return [_said(reply.command, reply.data) for reply in replies]


def _said(command: int, data: bytes) -> tuple[Any, ...]:
    if command == 0x41:
        return command, data[0], bool(data[1]), unpack(data[2:]).decode()
    if command == 0x45:
        return command, data[0] | data[1] << 7 | data[2] << 14, unpack(data[3:]).decode()
    return command, data.hex(" ")


def told(made: Engine) -> list[tuple[str, bool, str, str]]:
    """What became of commands since the last call: the command, whether it was done, the sentence, the source."""
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    return [(each.do, each.done, each.text, each.source) for each in outcomes]


# Our own SysEx


def test_a_recall_is_carried_out_and_answered() -> None:
    """Recall by our own SysEx changes the scene; the answer is "done" and the sentence that watch shows."""
    made = router()
    assert answers(made, recall_request(US, 61)) == [(0x41, 0x01, True, "scene 61 Finale")]
    assert made.scene == (61, "Finale")
    assert told(made) == [("scene", True, "scene 61 Finale", "foot")]


def test_a_recall_of_a_scene_that_is_not_there() -> None:
    """The number of a scene that does not exist changes nothing and is reported."""
    made = router()
    for number in (0, 2, 0x1FFFFF):
        text = f"there is no scene {number}; nothing changed"
        assert answers(made, recall_request(US, number)) == [(0x41, 0x01, False, text)]
    assert made.scene == (1, "Overture")


def test_next_back_and_panic() -> None:
    """Next, back and panic work and answer; at the end next says so and changes nothing."""
    made = router()
    assert answers(made, plain_request(US, "next")) == [(0x41, 0x02, True, "scene 61 Finale")]
    assert answers(made, plain_request(US, "next")) == [(0x41, 0x02, True, "scene 300 Encore")]
    ((_, command, done, text),) = answers(made, plain_request(0x7F, "next"))
    assert (command, done) == (0x02, False)
    assert text.startswith("already at the end of")
    assert answers(made, plain_request(US, "back")) == [(0x41, 0x03, True, "scene 61 Finale")]
    ((_, command, done, text),) = answers(made, plain_request(US, "panic"))
    assert (command, done, text[:6]) == (0x04, True, "panic:")


def test_the_scene_in_force() -> None:
    """The scene request is answered with number and name of the scene in force; before the first, with 0 alone."""
    assert answers(router(), plain_request(US, "ask scene")) == [(0x45, 1, "Overture")]
    assert answers(engine(SCENES), plain_request(US, "ask scene")) == [(0x45, 0, "")]


def test_the_routing() -> None:
    """The routes of every scene and of the one in force are reported by place in the rig file, without muted ones."""
    made = router()
    assert answers(made, plain_request(US, "ask routing")) == [(0x46, "01 00 00 01 00 01 00 02 00 01 00 02 00 02 00")]
    mute(made, MS, "pads", True, "test")
    assert answers(made, plain_request(US, "ask routing")) == [(0x46, "01 00 00 01 00 01 00 02 00 01 00")]


def test_what_takes_threads_is_left_for_the_show() -> None:
    """Routes, backups and blocks are handed on with their input; nothing changes and no answer is sent at once."""
    made = router()
    messages = [route_request(US, RouteRequest(1, 2, True)), plain_request(US, "ask backup"), own(US, 0x0A, b"\1")]
    assert [answers(made, message) for message in messages] == [[], [], []]
    assert [(source, request.do) for source, request in made.reports.requests] == [
        (FOOT, "route"),
        (FOOT, "ask backup"),
        (FOOT, "block"),
    ]


def test_without_outputs_for_answers_nothing_is_sent() -> None:
    """A rig without outputs for answers obeys without a reply."""
    made = router(SCENES.replace('to = ["brass"]\n"""', "").replace('device = 5\nto = ["brass"]', "device = 5"))
    assert answers(made, recall_request(US, 61)) == []
    assert made.scene == (61, "Finale")


def test_an_edit_forgets_nothing() -> None:
    """Requests not yet carried out, and mutes, survive when an edited rig takes over."""
    made = router()
    mute(made, MS, "all", True, "test")
    answers(made, plain_request(US, "ask backup"))
    edited = made
    other = engine(SCENES.replace("Finale", "Last dance").replace("Overture", "Prelude"))
    adopt(made, 2 * MS, other.rig)
    assert [request.do for _, request in edited.reports.requests] == ["ask backup"]
    assert hexed(edited.receive(3 * MS, KEYS, b"\x90\x3c\x40")) == []
    mute(edited, 3 * MS, "all", False, "test")
    assert hexed(edited.receive(3 * MS, KEYS, b"\x90\x3c\x40")) == ["90 3C 40"]


# Which inputs may command


def test_only_named_inputs_may_command() -> None:
    """From an input not listed in [remote], a command is music like any other SysEx and passes its routes."""
    made = router()
    for message in valid_messages():
        out = made.receive(MS, KEYS, message)
        assert hexed(out) == [message.hex(" ").upper()]
    assert (made.scene, made.reports.outcomes, [*made.reports.requests]) == ((1, "Overture"), [], [])


def test_a_rig_without_remote_obeys_nobody() -> None:
    """Without [remote] no message commands, from whatever device."""
    made = router(SCENES[: SCENES.index("[remote]")])
    for message in (recall_request(0x7F, 61), show_control(ShowControl(0x7F, 0x7F, "go", "61")), b"\xc0\x3c"):
        made.receive(MS, FOOT, message)
    assert (made.scene, made.reports.outcomes) == ((1, "Overture"), [])


def test_commands_go_no_further_and_the_rest_passes() -> None:
    """A message that was obeyed is not passed on; foreign SysEx is, and ours if malformed or meant for another rig."""
    made = router()
    assert not [
        sent for sent in hexed(made.receive(MS, PADS, recall_request(US, 1))) if sent.startswith("F0 7D 62 6C 01 05 01")
    ]
    broken = recall_request(US, 61)[:-2] + b"\x00\xf7"
    for message in (
        broken,
        recall_request(6, 61),
        b"\xf0\x7e\x7f\x06\x01\xf7",
    ):
        assert hexed(made.receive(2 * MS, PADS, message), BRASS) == [message.hex(" ").upper()]
    assert made.scene == (1, "Overture")


def test_a_controls_exact_sysex_comes_first() -> None:
    """A control that matches the SysEx comes before the remote: here our own next is back."""
    made = router()
    recall(made, 0, 61)
    made.receive(MS, PADS, plain_request(US, "next"))
    assert made.scene == (1, "Overture")
    made.receive(MS, FOOT, plain_request(US, "next"))
    assert made.scene == (61, "Finale")


# Programs and songs

PROGRAMS = SCENES.replace("device = 5", "device = 5\nprograms = true")


def test_banks_reach_scenes_beyond_128() -> None:
    """Bank 00 02 program 44 as printed is scene 300: 128 scenes a bank (MIDI 1.0 p. 13, 14)."""
    made = router(PROGRAMS)
    for message in ("B3 00 00", "B3 20 02", "C3 2B"):
        made.receive(MS, FOOT, bytes.fromhex(message))
    assert told(made) == [("scene", True, "scene 300 Encore", "foot")]


def test_a_song_recalls() -> None:
    """Song select byte 60 is scene 61 (songs count from 1: common practice, no source)."""
    made = router(PROGRAMS)
    made.receive(MS, FOOT, b"\xf3\x3c")
    assert made.scene == (61, "Finale")


def test_a_program_of_no_scene_is_reported() -> None:
    """A program without a scene is consumed and reported, and changes nothing."""
    made = router(PROGRAMS)
    assert made.receive(MS, PADS, b"\xc0\x05") == []
    assert told(made) == [("scene", False, "there is no scene 6; nothing changed", "pads")]


# Machine control


def test_transport() -> None:
    """Locate moves our time code, play and stop run and halt it, for our id and all-call only (RP-013)."""
    made = router()
    code = made.state.sync.code
    assert code is not None
    target = read_label("01:02:03:04", RATES["30"])
    for device in (6, US, 0x7F):
        made.receive(MS, FOOT, machine_control(MachineControl(device, "locate", target)))
        assert (str(code.label(MS)) == "01:02:03:04") == (device != 6)
        made.receive(MS, FOOT, machine_control(MachineControl(device, "play")))
        assert code.running == (device != 6)
        made.receive(MS, FOOT, machine_control(MachineControl(device, "stop")))
        assert not code.running


# Too much


def test_what_is_longer_than_a_block_is_not_read() -> None:
    """A SysEx of our own that is longer than a block of a backup asks for nothing, and passes like any SysEx."""
    made = router()
    block = own(US, BLOCK, bytes(LONGEST_REQUEST - 8))
    assert len(block) == LONGEST_REQUEST + 1
    assert block.hex(" ").upper() in hexed(made.receive(MS, PADS, block))
    assert not made.reports.requests
    made.receive(MS, FOOT, own(US, BLOCK, bytes(LONGEST_REQUEST - 9)))
    assert len(made.reports.requests) == 1


def recalls_obeyed(made: Engine, first: int, count: int, gap: int) -> int:
    """How many of so many recalls, one each `gap` ns, are carried out."""
    for at in range(count):
        made.receive(first + at * gap, FOOT, recall_request(US, 61))
    return sum(each.do == "scene" for each in told_results(made))


def told_results(made: Engine) -> list[CommandResult]:
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    return outcomes


def test_a_flood_of_requests_is_cut() -> None:
    """Of 8,000 recalls per second, 64 at once and then 300 per second are carried out; the player reads it once per
    second, and once the flood is over every request is obeyed again."""
    made = router()
    told_results(made)
    assert recalls_obeyed(made, MS, 16_000, MS // 8) in range(64 + 598, 64 + 602)
    text = "more than 300 requests per second; some are ignored"
    assert made.reports.news == [("foot", text)] * 2
    assert recalls_obeyed(made, 10_000 * MS, 300, 4 * MS) == 300


def test_replies_leave_half_of_a_slow_cable_to_music() -> None:
    """Whoever asks 100 times per second is answered for 2 s ahead, and then as often as half of a DIN cable carries."""
    made = engine(SCENES.replace('device = 5\nto = ["brass"]', 'device = 5\nto = ["strings"]'), "din")
    recall(made, 0, 1)
    asked = plain_request(US, "ask routing")
    out = [sent for at in range(1000) for sent in made.receive(at * 10 * MS, FOOT, asked)]
    out += run_dry(made, 10_000 * MS)[1]
    replies = [sent for _, sent, _ in out if read_own(sent) is not None]
    carried_ms = len(replies) * len(replies[0]) * 0.32
    assert 0.9 * (10_000 + 2000) / 2 < carried_ms < 1.1 * (10_000 + 2000) / 2


def test_a_flood_does_not_use_up_the_panic() -> None:
    """Panics are counted apart: one that comes in a flood of recalls is carried out."""
    made = router()
    recalls_obeyed(made, MS, 1000, 0)
    made.receive(MS, FOOT, plain_request(US, "panic"))
    assert [each.do for each in told_results(made)] == ["panic"]


def test_what_waits_for_the_show_is_bounded() -> None:
    """While the show is busy, 4,096 blocks wait; the player reads that later ones are ignored."""
    made = router()
    for _ in range(MOST_WAITING + 100):
        made.receive(MS, FOOT, own(US, BLOCK, b"x"))
    assert len(made.reports.requests) == MOST_WAITING
    assert made.reports.news == [("foot", "more than 4096 requests wait; what comes now is ignored")]


# Any other messages


def _state(made: Engine, now: int) -> tuple[Any, ...]:
    clock, code = made.state.sync.clock, made.state.sync.code
    assert clock is not None
    assert code is not None
    setlist = made.state.main.setlist
    return (
        made.scene,
        setlist.place,
        setlist.loaded,
        clock.running,
        code.running,
        str(code.label(now)),
        set(made.state.muted),
        len(made.reports.requests),
    )


@pytest.mark.slow
def test_no_state_changes_but_by_a_valid_message() -> None:
    """Of 10,000 random and half-right messages at an input that may command, only the valid ones change anything; at
    an input that may not, the same messages change nothing at all; none raises an error."""
    made = router()
    chance, valid = random.Random(1963), valid_messages()
    valid += [recall_request(US, 300), show_control(ShowControl(0x7F, 0x01, "go"))]
    changed = 0
    for now in range(0, 10_000 * MS, MS):
        for message in StreamParser().feed(random_message(chance, valid)):
            before = _state(made, now)
            made.receive(now, KEYS, message)
            assert _state(made, now) == before
            made.receive(now, FOOT, message)
            after = _state(made, now)
            if not is_in_order(message):
                assert after == before, message.hex(" ")
                assert made.reports.outcomes == []
            changed += after != before
            made.reports.outcomes.clear()
            made.reports.requests.clear()
    assert made.state.faults.counts == {}
    assert changed > 500  # valid and invalid messages both occurred


@given(st.binary(max_size=200))
def test_any_bytes_are_taken(data: bytes) -> None:
    """Any bytes at an input that may command by programs are accepted without an error."""
    made = router(PROGRAMS)
    for now, message in enumerate(StreamParser().feed(data)):
        made.receive(now * MS, FOOT, message)
    assert made.state.faults.counts == {}
