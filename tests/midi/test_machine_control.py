"""MIDI Machine Control, RP-013."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.machine_control import ALL_CALL, COMMANDS, MachineControl, read_machine_control
from engine.midi.timecode import RATES, Label, read_label
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.remote_writing import machine_control

KEYS = check_values("mmc-", given="command")
LOCATE = check_value("mmc-locate")
TO = MachineControl(ALL_CALL, "locate", read_label("01:02:03:04", RATES["30"]))

sayings = st.builds(MachineControl, st.integers(0, 127), st.sampled_from(list(COMMANDS.values()))) | st.builds(
    lambda device, rate, place, hundredths: MachineControl(
        device, "locate", Label(rate, int(place * rate.day)), hundredths
    ),
    st.integers(0, 127),
    st.sampled_from(list(RATES.values())),
    st.floats(0, 1, exclude_max=True),
    st.integers(0, 99),
)


@pytest.mark.parametrize("entry", KEYS, ids=lambda entry: entry.id)
def test_the_transport_keys(entry: CheckValue) -> None:
    """Each key of the transport has the standard's code (RP-013, command index)."""
    message = bytes.fromhex(entry.expected)
    said = MachineControl(ALL_CALL, entry.input["command"].lower().replace("mmc ", ""))
    assert machine_control(said) == message
    assert read_machine_control(message) == said


def test_a_command_has_its_frame_and_is_no_response() -> None:
    """F0 7F device 06, the command, F7; with 07 it is a response, which commands nothing (mmc-frame)."""
    frame = check_value("mmc-frame").expected
    head, tail = frame["command"].replace("dd", "05").split(" … ")
    message = machine_control(MachineControl(5, "play")).hex(" ").upper()
    assert message.startswith(head)
    assert message.endswith(tail)
    response = message.replace(head, frame["response"].replace("dd", "05").split(" … ")[0])
    assert response != message
    assert read_machine_control(bytes.fromhex(response)) is None


def test_all_keys_are_checked() -> None:
    """Every command known here has an entry in the standard's index."""
    assert len(KEYS) == len(COMMANDS)


def test_locate() -> None:
    """LOCATE to 01:02:03:04.00 at 30 frames has the standard's layout (RP-013, LOCATE [TARGET])."""
    message = bytes.fromhex(LOCATE.expected)
    assert machine_control(TO) == message
    assert read_machine_control(message) == TO


@given(sayings)
def test_what_is_built_is_read(said: MachineControl) -> None:
    """Every key, and every place at every rate, reads back unchanged."""
    assert read_machine_control(machine_control(said)) == said


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        ("61 42 03 04 00", "01:02:03:04"),  # the colour frame flag is bit 6 of the minutes
        ("61 02 03 24 7F", "01:02:03:04"),  # bit 5 of the frames: the last byte is not hundredths
        ("41 01 00 00 00", "01:01:00;02"),  # a label that drop-frame counting skips means the next one (3.2.1)
    ],
)
def test_flags_of_a_time(time: str, expected: str) -> None:
    """Flags in a time do not change the place (RP-002/RP-014 3.2.1, the same format)."""
    said = read_machine_control(bytes.fromhex(f"F0 7F 05 06 44 06 01 {time} F7"))
    assert said is not None
    assert (str(said.target), said.hundredths) == (expected, 0)


@pytest.mark.parametrize(
    "message",
    [
        "F0 7F 05 06 F7",
        "F0 7F 05 06 00 F7",  # an extension
        "F0 7F 05 06 0B F7",  # a code that is not in the index used here
        "F0 7F 05 06 02 02 F7",  # two commands
        "F0 7F 05 07 02 F7",  # a response
        "F0 7F 05 06 44 02 00 01 F7",  # a locate to a register
        "F0 7F 05 06 44 06 01 61 02 03 04 64 F7",  # 100 hundredths
        "F0 7F 05 06 44 06 01 61 02 03 44 00 F7",  # before midnight
        "F0 7F 05 06 44 06 01 78 00 00 00 00 F7",  # hour 24
        "F0 7F 05 06 44 06 01 61 3C 00 00 00 F7",  # minute 60
        "F0 7F 05 06 44 06 01 61 02 3C 00 00 F7",  # second 60
        "F0 7F 05 06 44 06 01 21 02 03 19 00 F7",  # frame 25 of 25
        "F0 7F 05 06 44 06 01 61 02 03 04 80 F7",
        "F0 7E 05 06 01 F7",  # an identity request
        "F0 7F 05 06 02 02",
        "C0 05",
        "",
    ],
)
def test_what_is_no_machine_control(message: str) -> None:
    """A message without a meaning in the standard, or in this program, is not read (RP-013; times: RP-002 3.2.1)."""
    assert read_machine_control(bytes.fromhex(message)) is None


@given(st.lists(st.integers(0, 127), max_size=14).map(bytes))
def test_any_data_is_read_or_none(tail: bytes) -> None:
    """No data can make a machine control message raise an error."""
    said = read_machine_control(b"\xf0\x7f\x05\x06" + tail + b"\xf7")
    assert said is None or said.command in (*COMMANDS.values(), "locate")
