"""What sounds at one output, and how it is brought to the state that another engine expects."""

from hypothesis import given
from hypothesis import strategies as st

from engine.core.cable.receiver_state import YOUNG, ReceiverState
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
_SOUNDS = [bytes((0xB0 | c, n, 1)) for c in _CHANNELS for n in (0, 32)] + [bytes((0xC0 | c, 1)) for c in _CHANNELS]


def _after(music: list[bytes], at: int = 0) -> ReceiverState:
    """As if the show had begun with a burst for every channel."""
    sounding = ReceiverState()
    for message in (*_SOUNDS, *music):
        sounding.note(at, message)
    return sounding


class Tuned(Receiver):
    """A receiver whose parameters can be set (MIDI 1.0 p. 17; RP-015: a reset chooses none)."""

    def __init__(self) -> None:
        super().__init__()
        self.chosen: dict[int, list[int]] = {}
        self.kind: dict[int, int] = {}
        self.parameters: dict[tuple[int, ...], list[int]] = {}

    def _controller(self, channel: int, number: int, value: int) -> None:
        super()._controller(channel, number, value)
        chosen = self.chosen.setdefault(channel, [127] * 4)
        kind = self.kind.get(channel, 0)
        if number == 121:
            chosen[:] = [127] * 4
        elif 98 <= number <= 101:
            chosen[number - 98] = value
            self.kind[channel] = (number - 98) // 2
        elif number in (6, 38) and (which := chosen[2 * kind : 2 * kind + 2]) != [127, 127]:
            data = self.parameters.setdefault((channel, kind, *which), [0, 0])
            data[:] = [value, 0] if number == 6 else [data[0], value]


def _heard(music: list[bytes]) -> Tuned:
    receiver = Tuned()
    for message in (*_SOUNDS, *music):
        receiver.hear(message)
    return receiver


def _picture(receiver: Tuned) -> tuple[object, ...]:
    sounding = {place for place, count in receiver.sounding.items() if count}
    return sounding, receiver.off_rest, receiver.sound, receiver.bank, receiver.chosen


@given(_music, _music)
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
