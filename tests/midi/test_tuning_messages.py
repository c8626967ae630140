"""Tuning in words: the bytes of the MIDI Tuning Standard. Source of each figure: tests/reference."""

import math

import pytest

from engine.midi.setup_words import Receiver, is_value, set_up
from engine.midi.tuning_messages import scale_tuning
from tests.support.check_values import CheckValue, check_value, check_values


def _sent(words: str, to: Receiver) -> list[str]:
    return [message.hex(" ").upper() for message in set_up(words, to).messages]


def _words(cents: list[float], at_once: bool = False) -> str:
    return f"scale tuning{' at once' if at_once else ''} {' '.join(map(str, cents))}"


@pytest.mark.parametrize("value", check_values("tun-scale-"), ids=lambda value: value.id)
def test_twelve_offsets(value: CheckValue) -> None:
    """One byte each, from C to B; at once is real time, and without a channel all are meant."""
    channels = value.input["channels"]
    to = Receiver(None) if channels == "all" else Receiver(channels[0] - 1)
    assert _sent(_words(value.input["cents"], value.input["realtime"]), to) == [value.expected]


@pytest.mark.parametrize("value", check_values("tun-chan-"), ids=lambda value: value.id)
def test_channels_are_bits(value: CheckValue) -> None:
    """Of an instrument with several channels all are tuned."""
    first, *others = (channel - 1 for channel in value.input["channels"])
    (sent,) = _sent("scale tuning equal", Receiver(first, others=tuple(others)))
    assert sent.split()[5:8] == value.expected.split()


@pytest.mark.parametrize("value", check_values("tun-1b-"), ids=lambda value: value.id)
def test_one_byte(value: CheckValue) -> None:
    """Whole cents within a byte's reach take one."""
    (sent,) = _sent(_words([value.input["cents"]] + [0] * 11), Receiver())
    assert sent.split()[4] == "08"
    assert sent.split()[8] == value.expected


@pytest.mark.parametrize("value", check_values("tun-2b-", "cents"), ids=lambda value: value.id)
def test_two_bytes(value: CheckValue) -> None:
    """Parts of a cent, or offsets out of a byte's reach, make all take two, high byte first."""
    (sent,) = _sent(_words([value.input["cents"]] + [0.5] * 11), Receiver())
    assert sent.split()[4] == "09"
    assert sent.split()[8:10] == value.expected.split()


def test_the_end_of_two_bytes() -> None:
    """A hundred cents are as much as there is."""
    top = check_value("tun-2b-top")
    (sent,) = _sent(_words([100.0] + [0.0] * 11), Receiver())
    assert " ".join(sent.split()[8:10]) == top.input
    assert scale_tuning((0,), [100.5] + [0.0] * 11, False) is None


@pytest.mark.parametrize("value", check_values("tun-master-"), ids=lambda value: value.id)
def test_master_tuning(value: CheckValue) -> None:
    """Fine in cents, coarse in semitones."""
    ((unit, amount),) = value.input.items()
    words = f"master {'fine' if unit == 'cents' else 'coarse'} tuning {amount}"
    assert _sent(words, Receiver(None)) == [value.expected]


def test_concert_pitch() -> None:
    """440 Hz is the middle; 442 Hz are 7.85 cents above it, to half a step (arithmetic)."""
    assert _sent("master tuning 440 Hz", Receiver()) == [check_value("tun-master-fine-0").expected]
    (sent,) = set_up("master tuning 442 Hz", Receiver()).messages
    cents = ((sent[5] | sent[6] << 7) - 8192) * 100 / 8192
    assert cents == pytest.approx(1200 * math.log2(442 / 440), abs=50 / 8192)


def test_programs_and_banks_of_tunings() -> None:
    """RPN 4 and 3, both counted from 1 in words, each with the null parameter after it."""
    value = check_value("tun-rpn")
    words = (f"tuning bank {value.input['bank_wire'] + 1}", f"tuning program {value.input['program_wire'] + 1}")
    sent = [message for each in words for message in _sent(each, Receiver())]
    assert [message for message in sent if not message.endswith("7F")] == value.expected


def test_tuning_stays() -> None:
    """A scene's tuning counts as a value, which an output that comes back is sent again."""
    for words in ("scale tuning equal", "scale tuning at once equal", "master tuning 442 Hz", "master coarse tuning 1"):
        assert all(map(is_value, set_up(words, Receiver()).messages))
    assert not is_value(bytes.fromhex("F07E7F0901F7"))
    assert not is_value(bytes.fromhex("F07D01F7"))


@pytest.mark.parametrize(
    "words",
    [
        "scale tuning 0 0 0",
        "scale tuning 101 0 0 0 0 0 0 0 0 0 0 0",
        "master tuning 466.9 Hz",
        "master tuning 0 Hz",
        "master coarse tuning 64",
        "master fine tuning 101",
        "tuning program 0",
        "tuning bank 129",
    ],
)
def test_what_is_out_of_reach_is_refused(words: str) -> None:
    """What is allowed is said."""
    with pytest.raises(ValueError, match=f'^"{words.split(" tuning")[0]} |^"tuning '):
        set_up(words, Receiver())
