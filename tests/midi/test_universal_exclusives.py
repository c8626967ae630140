"""Universal exclusives: the layout of those that are commands, and that a rig passes on all others unchanged."""

import pytest

from engine.core.control.remote_messages import RemoteReader, RemoteSettings
from engine.core.engine import Engine
from engine.instruments.device_inquiry import request
from engine.midi.machine_control import MachineControl, read_machine_control
from engine.midi.show_control import ShowControl, read_show_control
from engine.rig.read.load import RigError, read
from tests.support.check_values import check_value, check_values
from tests.support.engine_calls import engine_of, recall
from tests.support.remote_writing import machine_control, plain_request, show_control

MESSAGES = [
    entry.expected for entry in (*check_values("usx-gm"), *check_values("usx-master-"), check_value("usx-bar-marker"))
]
RIG = """
format = 1
[inputs]
desk = { port = "a" }
[outputs]
box = { port = "b", wire = "din" }
[[scenes]]
number = 1
name = "One"
routes = [ { from = "desk", to = "box" } ]
[remote]
inputs = ["desk"]
device = 5
"""


def router() -> Engine:
    made = engine_of(read(RIG, "test"))
    recall(made, 0, 1)
    return made


def through(*messages: str) -> list[str]:
    """What comes out of the rig for these messages, played at once, until its cable is idle."""
    made, now, out = router(), 1_000_000, []
    for message in messages:
        out += made.receive(now, 0, bytes.fromhex(message))
    while made.waiting and made.due is not None:
        now = max(now, made.due)
        out += made.tick(now)
    assert made.reports.outcomes == []
    return [sent.hex(" ").upper() for _, sent, _ in out]


@pytest.mark.parametrize("message", MESSAGES)
def test_what_is_no_command_passes_as_it_came(message: str) -> None:
    """General MIDI, master volume and balance and bar marks pass unchanged, even at an input that may give commands."""
    assert through(message) == [message]


def test_the_header_of_all() -> None:
    """All begin with F0, 7E or 7F, the device and two sub-ids, and end with F7 (MIDI 1.0 p. 35)."""
    first, kinds, *_, last = check_value("usx-header").expected.split()
    for message in (*MESSAGES, show_control(ShowControl(5, 1, "go")).hex(" ").upper()):
        listed = message.split()
        assert (listed[0], listed[-1]) == (first, last)
        assert listed[1] in kinds.split("|")


def test_whose_ids_our_own_messages_bear() -> None:
    """Our own SysEx is non-commercial; commands and the inquiry are universal (mid-special: MIDI 1.0 p. 34)."""
    ours = {
        "non-commercial": plain_request(5, "next"),
        "universal non-real-time": request(),
        "universal real-time": show_control(ShowControl(5, 1, "go")),
    }
    assert {f"{message[1]:02X}": use for use, message in ours.items()} == check_value("mid-special").expected
    unused = check_value("mid-unused")
    for text, allowed in zip(unused.input, unused.expected, strict=True):
        assert any(message[1:].startswith(bytes.fromhex(text)) for message in ours.values()) is allowed


def test_other_makers_messages_are_not_ours() -> None:
    """The same bytes under any other id ask for nothing (mid-ignore-foreign: p. 34)."""
    ours, reader = plain_request(5, "next"), RemoteReader(RemoteSettings(device=5))
    assert reader.read(0, ours) is not None
    foreign = [ours[:1] + bytes((maker,)) + ours[2:] for maker in range(128) if maker != ours[1]]
    ignored = not any(reader.read(0, message) for message in foreign)
    assert ignored is check_value("mid-ignore-foreign").expected


def test_whom_a_device_id_addresses() -> None:
    """A device obeys its own id and 7F (id-request-rule)."""
    entry = check_value("id-request-rule")
    reader = RemoteReader(RemoteSettings(device=int(entry.input["own"], 16)))
    asked = [show_control(ShowControl(int(device, 16), 1, "go")) for device in entry.input["asked"]]
    assert [reader.read(0, message) is not None for message in asked] == entry.expected


@pytest.mark.parametrize("value", [0, 8192, 16383])
def test_master_volume(value: int) -> None:
    """The 14 bits of master volume are sent low byte first (MIDI 1.0 p. 57)."""
    message = bytes.fromhex(check_value(f"usx-master-volume-{value}").expected)
    assert message[5] | message[6] << 7 == value


def test_sub_ids_that_command() -> None:
    """Of the real-time sub-ids, show control and machine control are read; the others, and all of 7E, are not."""
    real_time = check_value("usx-rt-subids").expected
    show, machine = show_control(ShowControl(5, 1, "go")), machine_control(MachineControl(5, "play"))
    for code in range(128):
        name = real_time.get(f"{code:02X}")
        for family in (0x7E, 0x7F):
            swapped = [bytes((0xF0, family, 5, code)) + message[4:] for message in (show, machine)]
            read_it = (read_show_control(swapped[0]) is not None, read_machine_control(swapped[1]) is not None)
            ours = family == 0x7F
            assert read_it == (ours and name == "Show Control", ours and name == "Machine Control command")


@pytest.mark.parametrize("code", check_value("usx-nrt-subids").expected)
def test_messages_that_are_not_real_time_pass(code: str) -> None:
    """Dumps, tunings, inquiries and handshakes pass unchanged (MIDI 1.0, Table VIIa)."""
    assert through(f"F0 7E 05 {code} 01 F7") == [f"F0 7E 05 {code} 01 F7"]


def test_a_bar_mark_stays_before_its_clock() -> None:
    """A bar mark and the clock that follows it come out in that order (MIDI 1.0 p. 54)."""
    mark, clock = check_value("usx-bar-marker-merge").input
    assert through(mark, clock) == [mark, clock]


def test_cues_are_written_in_digits_and_points() -> None:
    """A cue consists of digits and points only, and 00 separates the fields (RP-002 3.1)."""
    found = check_value("msc-ascii").expected
    low, high = (int(digit, 16) for digit in found["digits"])
    for byte in range(128):
        said = read_show_control(bytes((0xF0, 0x7F, 5, 2, 1, 1, 0x31, byte, 0x32, 0xF7)))
        if byte == int(found["delimiter"], 16):
            assert said is not None
            assert (said.cue, said.cue_list) == ("1", "2")
        else:
            assert (said is not None) == (low <= byte <= high or byte == int(found["point"], 16))


def test_device_ids() -> None:
    """Ids 00 to 6F are single devices, 70 to 7E groups, 7F all; a rig's own is a single one (RP-002 2.2)."""
    found = check_value("msc-device-ids").expected
    single = [int(code, 16) for code in found["single"]]
    for device in range(0x80):
        try:
            read(RIG.replace("device = 5", f"device = {device}"), "test")
            allowed = True
        except RigError:
            allowed = False
        assert allowed == (single[0] <= device <= single[1])


def test_hundredths_of_a_frame() -> None:
    """The last byte of a place holds hundredths of a frame up to 99 (RP-002 3.2.1)."""
    most = check_value("mmc-time-fields").expected["ff_max"]
    for value in range(128):
        message = bytes.fromhex("F0 7F 05 06 44 06 01 61 02 03 04") + bytes((value, 0xF7))
        assert (read_machine_control(message) is not None) == (value <= most)
