"""Commands by show control, machine control, programs with banks, and our own SysEx."""

import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.control.remote_messages import (
    LONGEST_REQUEST,
    RemoteReader,
    RemoteRequest,
    RemoteSettings,
    RouteRequest,
    answer_reply,
    own,
    read_own,
    remote_settings,
    routing_reply,
    scene_reply,
)
from engine.midi.machine_control import MachineControl
from engine.midi.seven_bit_packing import unpack
from engine.midi.show_control import ShowControl
from engine.midi.timecode import RATES, read_label
from engine.rig.models.control import RemoteControl
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.random_remote_messages import PLAIN, US, is_in_order, random_message, valid_messages
from tests.support.remote_writing import machine_control, plain_request, recall_request, route_request, show_control

DESK, KEYS = 0, 1
MESSAGES = [*check_values("usx-gm"), *check_values("usx-master-"), check_value("usx-bar-marker")]


def heard(message: str | bytes, programs: bool = True) -> RemoteRequest | None:
    reader = RemoteReader(RemoteSettings(device=US, programs=programs))
    return reader.read(DESK, bytes.fromhex(message) if isinstance(message, str) else message)


# Show control


@pytest.mark.parametrize(
    ("command", "cue", "expected"),
    [
        ("go", "61", RemoteRequest("go", None, "61")),
        ("go", "061.50", RemoteRequest("go", None, "61.50")),
        ("go", "0", RemoteRequest("go", None, "0")),
        ("go", None, RemoteRequest("go")),
        ("stop", None, RemoteRequest("stop")),
        ("stop", "61", RemoteRequest("stop", None, "61")),
        ("resume", None, RemoteRequest("resume")),
        ("resume", "61.5", RemoteRequest("resume", None, "61.5")),
        ("load", "61", RemoteRequest("load", None, "61")),
        ("go_off", "61", RemoteRequest("go off", None, "61")),
        ("go_off", None, RemoteRequest("go off")),
        ("all_off", None, None),
        ("restore", None, None),
        ("reset", None, None),
    ],
)
def test_what_is_read_of_show_control(command: str, cue: str | None, expected: RemoteRequest | None) -> None:
    """What acts on cues is read, zeros before a cue left out; what acts on other gear's outputs is not."""
    assert heard(show_control(ShowControl(US, 0x01, command, cue))) == expected


def test_timed_go_is_go() -> None:
    """TIMED_GO is read as GO, whatever its time (RP-002 4.3, from memory); SET and FIRE are not for a rig."""
    timed = ShowControl(US, 0x01, "timed_go", "61", settings=bytes(5))
    assert heard(show_control(timed)) == RemoteRequest("go", None, "61")
    assert heard(show_control(ShowControl(US, 0x01, "timed_go", settings=bytes(5)))) == RemoteRequest("go")
    assert heard(show_control(ShowControl(US, 0x01, "set", settings=bytes(4)))) is None
    assert heard(show_control(ShowControl(US, 0x01, "fire", settings=bytes(1)))) is None


def test_the_open_lists_are_obeyed() -> None:
    """With `lists`, a cue of another list is not obeyed; one without a list is (RP-002 3.1; 4.3, from memory)."""
    reader = RemoteReader(RemoteSettings(device=US, lists=frozenset(("2",))))
    for cue, cue_list, obeyed in (("61", "2", True), ("61", "02", True), ("61", "2.1", False), ("61", None, True)):
        said = reader.read(DESK, show_control(ShowControl(US, 0x01, "go", cue, cue_list)))
        assert said == (RemoteRequest("go", None, "61") if obeyed else None), (cue, cue_list)
    assert reader.read(DESK, show_control(ShowControl(US, 0x01, "go"))) == RemoteRequest("go")
    assert heard(show_control(ShowControl(US, 0x01, "go", "61", "7"))) == RemoteRequest("go", None, "61")


def test_the_formats_that_are_named_are_obeyed() -> None:
    """With `formats`, only those that it names are obeyed (RP-002 4.1)."""
    remote = RemoteControl.model_validate({"inputs": ["desk"], "device": US, "formats": ["sound", "all"]})
    reader = RemoteReader(remote_settings(remote, ["desk"], []))
    named = {name: int(code, 16) for code, name in check_value("msc-formats").expected.items()}
    spoken = [form for form in range(1, 128) if reader.read(DESK, show_control(ShowControl(US, form, "go")))]
    assert spoken == [*range(named["Sound"], named["Machinery"]), named["All-types"]]


def test_a_cue_to_all_lights() -> None:
    """The standard's own example is read: GO of cue 1 to all devices (RP-002 2.1, 5)."""
    assert heard(check_value("msc-go").expected) == RemoteRequest("go", None, "1")


def test_ids_that_are_obeyed() -> None:
    """Of all device ids, a rig obeys its own and the all-call id, but no group (RP-002 2.2)."""
    spoken = [device for device in range(128) if heard(show_control(ShowControl(device, 0x01, "go")))]
    assert spoken == [US, int(check_value("msc-device-ids").expected["all"], 16)]


def test_formats_that_are_obeyed() -> None:
    """Cues for lights, for sound and its kinds and for all types are obeyed, those for machinery or fireworks never."""
    named = {name: int(code, 16) for code, name in check_value("msc-formats").expected.items()}
    spoken = [form for form in range(1, 128) if heard(show_control(ShowControl(US, form, "go")))]
    assert spoken == [named["Lighting"], *range(named["Sound"], named["Machinery"]), named["All-types"]]


# Machine control


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        ("play", "play"),
        ("deferred play", "play"),
        ("stop", "halt"),
        ("pause", "halt"),
        ("rewind", None),
        ("eject", None),
    ],
)
def test_transport_keys_run_the_time_code(command: str, expected: str | None) -> None:
    """Play and stop of machine control run and halt the time code; tape machine buttons do nothing (RP-013)."""
    for device, obeyed in ((US, True), (0x7F, True), (6, False)):
        request = heard(machine_control(MachineControl(device, command)))
        assert request == (RemoteRequest(expected) if expected and obeyed else None)


def test_locate() -> None:
    """LOCATE passes on its target as a time code (RP-013, LOCATE [TARGET])."""
    assert heard(check_value("mmc-locate").expected) == RemoteRequest("locate", None, "01:02:03:04")
    drop = machine_control(MachineControl(US, "locate", read_label("01:02:03;04", RATES["29.97 drop"])))
    assert heard(drop) == RemoteRequest("locate", None, "01:02:03;04")


# Programs, banks and songs


@pytest.mark.parametrize("entry", check_values("bank-number-"))
def test_a_bank_has_128_scenes(entry: CheckValue) -> None:
    """The first program of a bank is the scene after all those of the banks below it (MIDI 1.0 p. 13, 14)."""
    remote = RemoteReader(RemoteSettings(device=US, programs=True))
    for number, name in ((0, "msb"), (32, "lsb")):
        assert remote.read(DESK, bytes((0xB0, number, entry.input[name]))) == RemoteRequest("bank")
    assert remote.read(DESK, bytes((0xC0, 0))) == RemoteRequest("scene", (entry.expected - 1) * 128 + 1)


@pytest.mark.parametrize(
    ("name", "bank"),
    [("bank-sticky", (1, 2)), ("bank-no-reset-by-121", (1, 2)), ("bank-lsb-missing", (1, 0)), ("bank-latent", None)],
)
def test_a_bank_stays_until_the_next(name: str, bank: tuple[int, int] | None) -> None:
    """A bank acts at the next program and stays; controller 121 leaves it alone; a high byte sets the low one to 0."""
    remote = RemoteReader(RemoteSettings(device=US, programs=True))
    messages = [bytes.fromhex(message) for message in check_value(name).input]
    requests = [remote.read(DESK, message) for message in messages]
    if bank is None:
        assert requests == [RemoteRequest("bank")] * 2
    else:
        assert requests[-1] == RemoteRequest("scene", (bank[0] * 128 + bank[1]) * 128 + messages[-1][1] + 1)


def test_a_high_byte_sets_the_low_byte_to_0() -> None:
    """A bank's new high byte sets the low byte to 0, even one that was selected before it (MIDI 1.0 p. 12)."""
    remote = RemoteReader(RemoteSettings(device=US, programs=True))
    for number, value in ((0x20, 5), (0x00, 1)):
        remote.read(DESK, bytes((0xB0, number, value)))
    assert remote.read(DESK, b"\xc0\x00") == RemoteRequest("scene", 128 * 128 + 1)


def test_programs_are_counted_as_printed() -> None:
    """Program bytes 0 to 127 are scenes 1 to 128 (MIDI 1.0 p. 18)."""
    numbers = check_value("program-wire")
    for cable, printed in zip(numbers.expected["wire"], numbers.input["printed"], strict=True):
        assert heard(bytes((0xC3, cable))) == RemoteRequest("scene", printed)


def test_songs_count_from_one() -> None:
    """Song byte 0 is scene 1, as displays number songs (common practice, no source)."""
    assert [heard("F3 00"), heard("F3 7F")] == [RemoteRequest("scene", 1), RemoteRequest("scene", 128)]


def test_banks_are_kept_apart() -> None:
    """A bank counts only for the channel and the input that it came on."""
    remote = RemoteReader(RemoteSettings(device=US, programs=True))
    remote.read(DESK, bytes((0xB4, 0x20, 1)))
    program = [remote.read(source, bytes((status, 9))) for source, status in ((DESK, 0xC4), (DESK, 0xC5), (KEYS, 0xC4))]
    assert program == [RemoteRequest("scene", 138), RemoteRequest("scene", 10), RemoteRequest("scene", 10)]


@given(st.lists(st.integers(0, 255), max_size=4).map(bytes))
def test_programs_are_music_unless_the_rig_says_so(message: bytes) -> None:
    """Without programs = true, no short message is a command."""
    if message[:1] != b"\xf0":
        assert heard(message, programs=False) is None


# Our own SysEx


def test_requests_of_our_own() -> None:
    """Each request is read as what was asked, byte by byte as DEVELOPERS.md has it."""
    assert heard("F0 7D 62 6C 01 05 01 3D 00 00 3C F7") == RemoteRequest("scene", 61)
    assert heard("F0 7D 62 6C 01 05 02 78 F7") == RemoteRequest("next")
    assert heard("F0 7D 62 6C 01 7F 04 7C F7") == RemoteRequest("panic")
    route = RemoteRequest("route", None, RouteRequest(2, 130, True))
    assert heard("F0 7D 62 6C 01 05 07 02 00 02 01 01 6D F7") == route


@given(st.integers(0, 0x1FFFFF), st.sampled_from(PLAIN), st.integers(1, 16383), st.integers(1, 16383), st.booleans())
def test_what_is_built_is_read(scene: int, do: str, source: int, target: int, on: bool) -> None:
    """What the builders write is understood by the rig addressed, and by all rigs if addressed to all."""
    for device in (US, 0x7F):
        assert heard(recall_request(device, scene)) == RemoteRequest("scene", scene)
        assert heard(plain_request(device, do)) == RemoteRequest(do)
        route = RouteRequest(source, target, on)
        assert heard(route_request(device, route)) == RemoteRequest("route", None, route)
    assert heard(plain_request(US + 1, do)) is None


def test_a_block_is_handed_on_whole() -> None:
    """A block of a backup is passed unchanged to the collector of blocks."""
    message = own(US, 0x0A, b"\1\2\3")
    assert heard(message) == RemoteRequest("block", None, message)
    assert heard(own(US + 1, 0x0A, b"\1\2\3")) is None


@pytest.mark.parametrize(
    "message",
    [
        own(US, 0x01, b"\x3d\x00"),  # a scene number that is too short
        own(US, 0x01, b"\x3d\x00\x00\x00"),
        own(US, 0x02, b"\x00"),  # next with data
        own(US, 0x07, b"\x01\x00\x02\x00"),  # on or off left out
        own(US, 0x07, b"\x01\x00\x02\x00\x02"),  # neither on nor off
        own(US, 0x07, b"\x00\x00\x02\x00\x01"),  # inputs count from 1
        own(US, 0x07, b"\x01\x00\x00\x00\x01"),
        own(US, 0x00),
        own(US, 0x0B),
        bytes.fromhex("F0 7D 62 6C 01 05 02 79 F7"),  # a wrong checksum
        bytes.fromhex("F0 7D 62 6C 02 05 02 77 F7"),  # another version
        bytes.fromhex("F0 7D 62 6D 01 05 02 78 F7"),  # another maker's use of 7D
        bytes.fromhex("F0 7D 62 6C 01 05 F7"),
        bytes.fromhex("F0 7D 62 6C 01 05 02 78"),
        b"\xf0\xf7",
        b"\xf0",
        b"",
    ],
)
def test_what_is_no_request(message: bytes) -> None:
    """Our own SysEx is ignored unless it is valid throughout."""
    assert heard(message) is None


@pytest.mark.parametrize(
    "message",
    [
        scene_reply(US, 61, "Finale"),
        routing_reply(US, 61, [(1, 2)]),
        answer_reply(US, 0x01, True, "scene 61 Finale"),
    ],
)
def test_replies_are_no_requests(message: bytes) -> None:
    """A reply that comes back over a loop of cables is not a request."""
    assert read_own(message) is not None
    assert heard(message) is None


@given(st.none() | st.integers(1, 16384), st.text(max_size=50), st.integers(0, 127), st.booleans())
def test_what_replies_say(scene: int | None, name: str, command: int, done: bool) -> None:
    """A reply holds the scene's number, 0 for none, and its name or a sentence, in 7-bit bytes."""
    reply = read_own(scene_reply(US, scene, name))
    assert reply is not None
    assert (reply.device, reply.command) == (US, 0x45)
    assert reply.data[0] | reply.data[1] << 7 | reply.data[2] << 14 == (scene or 0)
    assert unpack(reply.data[3:]).decode() == name
    answer = read_own(answer_reply(US, command, done, name))
    assert answer is not None
    assert (answer.command, *answer.data[:2], unpack(answer.data[2:]).decode()) == (0x41, command, done, name)


@given(st.text(min_size=53, alphabet=st.characters(min_codepoint=0x10000, exclude_categories=["Cs"])))
def test_a_long_reply_is_cut(text: str) -> None:
    """No note waits for a reply longer than a block; what is cut off ends in an ellipsis, and no letter is halved."""
    for message in (answer_reply(US, 0x0A, False, text), scene_reply(US, 61, text)):
        assert len(message) <= LONGEST_REQUEST
        reply = read_own(message)
        assert reply is not None
        sentence = unpack(reply.data[2 if reply.command == 0x41 else 3 :]).decode()
        assert sentence.endswith("…")
        assert text.startswith(sentence[:-1])
        assert len(sentence) == 52


def test_the_routing_reply() -> None:
    """The routing reply is the scene's number, then input and output of each route, two bytes each, low byte first."""
    assert routing_reply(US, 61, [(1, 2), (1, 130)]).hex(" ").upper() == (
        "F0 7D 62 6C 01 05 46 3D 00 00 01 00 02 00 01 00 02 01 70 F7"
    )


# Any other messages


def test_nothing_but_valid_messages_is_obeyed() -> None:
    """Of 100,000 random and half-right messages exactly the valid ones are requests; none raises an error."""
    chance = random.Random(1953)
    valid = valid_messages()
    remote = RemoteReader(RemoteSettings(device=US))
    obeyed = 0
    for _ in range(100_000):
        message = random_message(chance, valid)
        request = remote.read(DESK, message)
        assert (request is not None) == is_in_order(message), message.hex(" ")
        obeyed += request is not None
    assert 10_000 < obeyed < 90_000  # valid and invalid messages both occurred


@pytest.mark.parametrize("entry", [*MESSAGES, *check_values("spp-", given="spp")], ids=lambda entry: entry.id)
def test_other_standard_messages_command_nothing(entry: CheckValue) -> None:
    """General MIDI, master volume, bar marks and song positions are not commands (MIDI Association Table 4)."""
    expected = entry.expected
    texts = [expected] if isinstance(expected, str) else [expected["bytes"]] if "bytes" in expected else []
    for text in texts:
        if re.fullmatch(r"F[0-9A-F]( [0-9A-F]{2})+", text):
            assert heard(text) is None


def test_handshakes_command_nothing() -> None:
    """Handshakes of a dump are not commands (MIDI 1.0 p. 36)."""
    assert [heard(message) for message in check_value("sysex-handshake").expected.values()] == [None] * 5
