"""What sounds at one output, and how it is brought to the state that another engine expects."""

from hypothesis import example, given
from hypothesis import strategies as st

from engine.core.cable.receiver_state import YOUNG, ReceiverState
from tests.support.check_values import check_value
from tests.support.receiver import Receiver

_channels = st.integers(0, 2)
_keys = st.integers(60, 64)
_values = st.integers(0, 127)
_messages = st.one_of(
    st.builds(lambda c, k, v: bytes((0x90 | c, k, v)), _channels, _keys, _values),
    st.builds(lambda c, k: bytes((0x80 | c, k, 64)), _channels, _keys),
    st.builds(
        lambda c, n, v: bytes((0xB0 | c, n, v)),
        _channels,
        st.sampled_from((0, 1, 6, 7, 11, 32, 33, 38, 39, 43, 64, 66, 98, 99, 100, 101, 121)),
        _values,
    ),
    st.builds(lambda c, p: bytes((0xC0 | c, p)), _channels, _values),
    st.builds(lambda c, v: bytes((0xE0 | c, 0, v)), _channels, _values),
    st.builds(lambda c, v: bytes((0xD0 | c, v)), _channels, _values),
    st.builds(lambda c, k, v: bytes((0xA0 | c, k, v)), _channels, _keys, _values),
)
_music = st.lists(_messages, max_size=40)
_CHANNELS = range(3)
_SELECTORS = [("controller", number) for number in range(98, 102)]  # one parameter may be chosen in two ways
_SOUNDS = [bytes((0xB0 | c, n, 1)) for c in _CHANNELS for n in (0, 32)] + [bytes((0xC0 | c, 1)) for c in _CHANNELS]


def _after(music: list[bytes], at: int = 0) -> ReceiverState:
    """As if the show had begun with a burst for every channel."""
    sounding = ReceiverState()
    for message in (*_SOUNDS, *music):
        sounding.note(at, message)
    return sounding


class Tuned(Receiver):
    """A receiver whose parameters can be set (MIDI 1.0 p. 17; RP-015: a reset chooses null, 127 and 127)."""

    def __init__(self) -> None:
        super().__init__()
        self.chosen: dict[int, list[int | None]] = {}
        self.kind: dict[int, int] = {}
        self.parameters: dict[tuple[int, ...], list[int]] = {}

    def _controller(self, channel: int, number: int, value: int) -> None:
        super()._controller(channel, number, value)
        chosen = self.chosen.setdefault(channel, [None] * 4)
        kind = self.kind.get(channel, 0)
        if number == 121:
            chosen[:] = [127] * 4
        elif 98 <= number <= 101:
            chosen[number - 98] = value
            self.kind[channel] = (number - 98) // 2
        elif number in (6, 38) and (which := self.selected_of(channel, kind)) != [127, 127]:
            data = self.parameters.setdefault((channel, kind, *which), [0, 0])
            data[:] = [value, 0] if number == 6 else [data[0], value]

    def selected_of(self, channel: int, kind: int) -> list[int]:
        """LSB and MSB of the parameter selected; an MSB alone counts as LSB 0 (MIDI 1.0 p. 12, rpn-msb-missing)."""
        low, high = self.chosen[channel][2 * kind : 2 * kind + 2]
        high = 127 if high is None else high
        return [(127 if high == 127 else 0) if low is None else low, high]


def _heard(music: list[bytes]) -> Tuned:
    receiver = Tuned()
    for message in (*_SOUNDS, *music):
        receiver.hear(message)
    return receiver


def _picture(receiver: Tuned) -> tuple[object, ...]:
    sounding = {place for place, count in receiver.sounding.items() if count}
    selected = {channel: [receiver.selected_of(channel, kind) for kind in (0, 1)] for channel in receiver.chosen}
    off_rest = {place for place in receiver.off_rest if place[1:] not in _SELECTORS}  # `selected` says what they chose
    return sounding, off_rest, receiver.sound, receiver.bank, selected


@given(_music, _music)
@example([], [b"\xb0\x64\x00", b"\xb0\x65\x00"])
@example([], [b"\xb0\x79\x00", b"\xb0\x63\x00"])
@example([b"\xb0\x79\x00"], [b"\xb0\x63\x00"])
def test_a_receiver_is_brought_to_what_is_wanted(own: list[bytes], wanted: list[bytes]) -> None:
    """After the messages of `to`, a receiver sounds, holds and is set as if it had received only the other engine.

    The receiver is written from MIDI 1.0 and RP-015, see its file.
    """
    receiver = _heard(own)
    for message in _after(own).to(_after(wanted), 0):
        receiver.hear(message)
    goal = _heard(wanted)
    assert _picture(receiver) == _picture(goal)
    assert receiver.parameters.items() >= goal.parameters.items()


@example([b"\xb2\x79\x00"], [b"\xb2\x63\x00"])
@given(_music, _music)
def test_what_is_not_said_is_so_already(own: list[bytes], wanted: list[bytes]) -> None:
    """Once the receiver is in the desired state, nothing more is sent."""
    there = _after(own)
    for message in there.to(_after(wanted), 0):
        there.note(0, message)
    assert there.to(_after(wanted), 0) == []


@given(_music)
def test_releases_leave_nothing(music: list[bytes]) -> None:
    """After the releases nothing sounds and everything is at rest (RP-015 for what rest is)."""
    receiver = _heard(music)
    for message in _after(music).releases():
        receiver.hear(message)
    assert receiver.held == 0
    assert receiver.off_rest == set()


@given(_music)
def test_a_snapshot_says_all(music: list[bytes]) -> None:
    """A snapshot read back on another clock equals the one that was written."""
    there = _after(music, at=1_000)
    read = ReceiverState.read(50_000, there.snapshot(2_000))
    assert read.to(there, 50_000, 1 << 60) == []
    assert there.to(read, 50_000, 1 << 60) == []
    assert read.snapshot(51_000) == there.snapshot(2_000 + 1_000)


def test_an_old_note_is_not_pressed_again() -> None:
    """A missing note pressed more than 50 ms ago stays silent; a more recent one is pressed (project rule: 50 ms)."""
    wanted = ReceiverState()
    wanted.note(0, bytes((0x90, 60, 100)))
    wanted.note(YOUNG, bytes((0x90, 64, 90)))
    assert ReceiverState().to(wanted, YOUNG + 1) == [bytes((0x90, 64, 90))]


def test_a_note_that_both_have_rings_on() -> None:
    """Nothing is sent for a note that sounds and should sound, however old it is."""
    both = ReceiverState()
    both.note(0, bytes((0x90, 60, 100)))
    assert both.copy().to(both, 1 << 40) == []


def test_data_entry_goes_where_it_is_wanted() -> None:
    """Both engines have selected the same RPN and the same NRPN, each in its own order: data entry that comes then
    turns the one that was selected last where the receiver is brought (MIDI 1.0 p. 17)."""
    rpn, nrpn = [b"\xb0\x65\x00", b"\xb0\x64\x01"], [b"\xb0\x63\x05", b"\xb0\x62\x06"]
    own, wanted = _after([*rpn, *nrpn]), _after([*nrpn, *rpn])
    assert own.to(wanted, 0) == rpn
    assert wanted.to(own, 0) == nrpn
    assert own.to(_after([*rpn, *nrpn]), 0) == []


# Parameters, against the standard's own examples


def _set_by(*messages: str) -> list[str]:
    """What another receiver must be sent to be where these lead: parameters set, and the parameter selected."""
    there = ReceiverState()
    for message in messages:
        there.note(0, bytes.fromhex(message))
    return [message.hex(" ").upper() for message in ReceiverState().to(there, 0)]


def test_a_parameter_that_is_not_registered_is_selected_with_99_and_98() -> None:
    """The MSB goes out with controller 99, the LSB with 98 (nrpn-controllers)."""
    entry = check_value("nrpn-controllers")
    assert _set_by(*entry.expected) == entry.expected
    assert [int(message.split()[2], 16) for message in entry.expected] == entry.input["nrpn"]


def test_there_are_as_many_parameters_as_two_bytes_can_name() -> None:
    """Each pair of MSB and LSB is a parameter of its own (rpn-space), but 7F 7F, which is none (rpn-null)."""
    there, none = ReceiverState(), check_value("rpn-null")
    for number in range(check_value("rpn-space").expected):
        for controller, value in ((101, number >> 7), (100, number & 0x7F), (6, 1)):
            there.note(0, bytes((0xB0, controller, value)))
    sent = ReceiverState().to(there, 0)
    assert sum(message[1] == 6 for message in sent) == check_value("rpn-space").expected - 1
    data = [message for message in _set_by("B0 65 00", "B0 64 00", "B0 06 02", *none.input) if message[:5] == "B0 06"]
    assert data == ["B0 06 02"], none.expected


def test_half_a_selection() -> None:
    """An LSB alone goes with the MSB before it, and with an MSB alone the LSB is 0 (rpn-msb-missing)."""
    parts = {"previous msb": "B0 65 01", "lsb=0": "B0 64 00"}
    said = check_value("rpn-msb-missing").expected
    whole = ["B0 65 01", "B0 64 00", "B0 06 02"]
    assert _set_by(whole[0], whole[2]) == _set_by(whole[0], parts[said["msb_only"]], whole[2])
    following = ["B0 64 03", "B0 06 04"]
    assert _set_by(*whole, *following) == _set_by(*whole, parts[said["lsb_only"]], *following)


def test_a_selection_outlives_other_messages_but_not_a_reset() -> None:
    """Notes within a transaction do not end it; Reset All Controllers does (rpn-unrelated)."""
    msb, lsb, note, data = check_value("rpn-unrelated").input
    number, value = (word for word in check_value("rpn-unrelated").expected.split() if word.isdigit())
    assert _set_by(msb, lsb, note, "80 3C 40", data) == [
        "B0 65 00",
        f"B0 64 {int(number):02X}",
        f"B0 06 {int(value):02X}",
    ]
    assert not [message for message in _set_by(msb, lsb, "B0 79 00", data) if message.startswith("B0 06")]
