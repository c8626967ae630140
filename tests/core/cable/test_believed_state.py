"""What an engine that takes over sends, if it was away in between and has missed what the other played."""

from collections import defaultdict
from collections.abc import Iterable

from hypothesis import given
from hypothesis import strategies as st

from engine.core.cable.believed_state import BelievedState, to_be_reached
from engine.core.cable.receiver_state import ReceiverState
from tests.support.parameter_receiver import Named, ParameterReceiver
from tests.support.receiver import Receiver

Unit = tuple[bytes, ...]

_EXPRESSION: Named = ("controller", 11, 0)
_SELECTORS = range(98, 102)  # which parameter is selected is no value

_channels = st.integers(0, 1)
_values = st.integers(0, 127)
_few = st.integers(0, 2)


def _sound(channel: int, high: int, low: int, program: int) -> Unit:
    status = 0xB0 | channel
    return bytes((status, 0, high)), bytes((status, 32, low)), bytes((0xC0 | channel, program))


def _parameter(channel: int, number: int, msb: int, lsb: int) -> Unit:
    return tuple(bytes((0xB0 | channel, *each)) for each in ((101, 0), (100, number), (6, msb), (38, lsb)))


_units: st.SearchStrategy[Unit] = st.one_of(
    st.builds(
        lambda c, n, v: (bytes((0xB0 | c, n, v)),),
        _channels,
        st.sampled_from((1, 7, 11, 20, 33, 39, 43, 64)),
        _values,
    ),
    st.builds(lambda c, v: (bytes((0xE0 | c, 0, v)),), _channels, _values),
    st.builds(lambda c, v: (bytes((0xD0 | c, v)),), _channels, _values),
    st.builds(_sound, _channels, _few, _few, _few),
    st.builds(_parameter, _channels, _few, _values, _values),
)
_music = st.lists(_units, max_size=12)


class _Instrument:
    """What a receiver is set to, by two receivers that were written from the standards."""

    def __init__(self, *music: list[Unit]) -> None:
        self.rest = Receiver()
        self.parameters = defaultdict[int, ParameterReceiver](ParameterReceiver)
        self.last: dict[int, bytes] = {}  # bends and pressures by their status
        for units in music:
            self.hear(message for unit in units for message in unit)

    def hear(self, messages: Iterable[bytes]) -> None:
        for message in messages:
            self.rest.hear(message)
            self.parameters[message[0] & 0x0F].hear(message)
            if message[0] >= 0xD0:
                self.last[message[0]] = message

    @property
    def picture(self) -> tuple[object, ...]:
        """Without what is at rest, which need not be said."""
        values = {
            (channel, name): value
            for channel, each in self.parameters.items()
            for name, value in each.values.items()
            if value != (127 if name == _EXPRESSION else 0, 0)
        }
        off_rest = {place for place in self.rest.off_rest if place[2] not in _SELECTORS}
        last = {status: message for status, message in self.last.items() if message[1:] not in (b"\x00", b"\x00\x40")}
        return values, off_rest, self.rest.sound, self.rest.bank, last


def _sent(known: ReceiverState, believed: BelievedState) -> list[bytes]:
    return known.to(to_be_reached(0, believed.snapshots(0), known), 0)


@given(_music, _music, _music, _music)
def test_what_was_missed_stays(before: list[Unit], missed: list[Unit], since: list[Unit], unsent: list[Unit]) -> None:
    """What was moved while the engine was away stays as the other one left it. What the other one failed to send at the
    end is sent."""
    known, believed = ReceiverState(), BelievedState()
    for music, hearing in ((before, (known, believed)), (missed, (known,)), (since, (known, believed))):
        if music is since:
            believed.doubt()
        for message in (message for unit in music for message in unit):
            for each in hearing:
                each.note(0, message)
    for message in (message for unit in unsent for message in unit):
        believed.note(0, message)
    found, goal = _Instrument(before, missed, since), _Instrument(before, missed, since, unsent)
    found.hear(_sent(known, believed))
    assert found.picture == goal.picture


@given(_music, _music)
def test_a_guess_is_better_than_nothing(before: list[Unit], since: list[Unit]) -> None:
    """Everything is sent to a machine that has just started, guesses included."""
    believed = BelievedState()
    for music in (before, since):
        for message in (message for unit in music for message in unit):
            believed.note(0, message)
        if music is before:
            believed.doubt()
    found = _Instrument()
    found.hear(_sent(ReceiverState(), believed))
    assert found.rest.sound == _Instrument(before, since).rest.sound
    assert found.rest.off_rest == _Instrument(before, since).rest.off_rest


def test_a_key_that_is_down_is_never_doubted() -> None:
    """A note that sounds there ends if no key holds it here; a note held in both goes on."""
    known, believed = ReceiverState(), BelievedState()
    for key in (60, 64):
        known.note(0, bytes((0x90, key, 90)))
    believed.note(0, bytes((0x90, 60, 90)))
    believed.doubt()
    assert _sent(known, believed.copy()) == [bytes((0x80, 64, 64))]
