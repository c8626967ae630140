"""What each channel of an output is on: banks and programs, and what a burst may leave out."""

import pytest

from engine.core.cable.channel_sounds import ChannelSounds, selects_sound
from engine.core.cable.output_cable import BurstUnit, Delivery, again
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN, CableSpeed
from tests.support.pit_engine import MS, hexed


def _unit(messages: str) -> tuple[bytes, ...]:
    return tuple(bytes.fromhex(each) for each in messages.split(", "))


@pytest.mark.parametrize(
    ("sent", "step", "on"),
    [
        ("B0 00 01, B0 20 02, C0 05", "B0 00 01, B0 20 02, C0 05", True),
        ("B0 00 01, B0 20 02, C0 05", "B0 00 01, B0 20 02, C0 06", False),
        ("B0 00 01, B0 20 02, C0 05", "C0 05", True),
        ("C0 05", "B0 00 01, B0 20 02, C0 05", False),
        ("B0 00 01, B0 20 02, C0 05, B0 00 03", "B0 00 01, B0 20 02, C0 05", False),
        ("B0 00 01, B0 20 02, C0 05, B0 00 03", "C0 05", False),
        ("B0 00 01, B0 20 02, C0 05, B0 00 01, B0 20 02", "B0 00 01, B0 20 02, C0 05", True),
        ("B0 00 01, B0 20 02, C0 05", "B0 00 01, C0 05", False),
        ("B0 00 01, B0 20 02, C0 05, C1 06", "B0 00 01, B0 20 02, C0 05", True),
        ("B0 07 05", "C0 05", False),
    ],
)
def test_a_channel_is_on_a_sound_if_sending_it_would_change_nothing(sent: str, step: str, on: bool) -> None:
    """A program counts with its bank; a new MSB sets the LSB to 0 (MIDI 1.0 p. 12), and a bank select without a program
    is in force for the next one."""
    sounds = ChannelSounds()
    for message in _unit(sent):
        sounds.note(message)
    assert sounds.is_on(BurstUnit(0, _unit(step), 0)) == on


def test_banks_and_programs_are_told_from_the_rest() -> None:
    """Program changes and controllers 0 and 32 select; nothing else does."""
    assert all(map(selects_sound, _unit("B0 00 01, BF 20 02, C0 05")))
    assert not any(map(selects_sound, _unit("B0 07 03, 90 00 40, 90 20 40, E0 00 20, F8")))


LEAD = BurstUnit(0, _unit("B0 00 01, B0 20 02, C0 05"), 30 * MS)
OTHER = BurstUnit(0, _unit("B0 00 03, B0 20 04, C0 06"), 30 * MS)
SECOND = BurstUnit(1, _unit("C1 05"), 0)
SPEEDS = pytest.mark.parametrize("speed", [None, DIN], ids=["fast", "din"])


_FIRST, _SECOND = _unit("B0 63 01, B0 62 02, B0 06 40"), _unit("B0 00 01, C0 05")
TWO_STEPS = (
    BurstUnit(0, _FIRST, 80 * MS, chooses=True, sound=_FIRST + _SECOND),
    BurstUnit(0, _SECOND, 30 * MS, chooses=True, sound=_FIRST + _SECOND),
)


class _Played:
    """A cable in virtual time."""

    def __init__(self, speed: CableSpeed | None) -> None:
        self.cable, self.now, self.out = Cable(0, speed), 0, list[Delivery]()

    def burst(self, *steps: BurstUnit) -> int:
        """Send a burst; how many of its steps are needed."""
        return len(self.cable.burst(self.now, steps, self.out))

    def select(self, messages: str) -> None:
        self.cable.select(self.now, _unit(messages), self.out)

    def put(self, message: str) -> None:
        self.cable.put(self.now, _unit(message), self.out)

    def wait(self, length: int) -> None:
        """Some time, in ns."""
        end = self.now + length
        while (due := self.cable.due) is not None and due <= end:
            self.now = max(self.now, due)
            self.cable.flush(self.now, self.out)
        self.now = end

    def run_dry(self) -> list[str]:
        """What has been sent since the last time, once nothing waits."""
        while (due := self.cable.due) is not None:
            self.now = max(self.now, due)
            self.cable.flush(self.now, self.out)
        self.now += 10 * MS  # the last byte leaves
        sent, self.out = hexed(self.out), []
        return sent


@SPEEDS
def test_what_a_channel_is_on_already_is_left_out(speed: CableSpeed | None) -> None:
    """The second burst sends what differs; the channel of what is left out is not held, so its notes go on."""
    played = _Played(speed)
    assert played.burst(LEAD, SECOND) == 2
    played.run_dry()
    assert played.burst(LEAD, BurstUnit(1, _unit("C1 06"), 0)) == 1
    played.put("90 3C 40")
    assert played.out[-1][1] == _unit("90 3C 40")[0]
    assert played.run_dry() == ["C1 06", "90 3C 40"]
    assert played.burst(*again([LEAD])) == 1
    assert played.run_dry() == ["B0 00 01", "B0 20 02", "C0 05"]


@SPEEDS
def test_a_routed_program_or_bank_lies_between(speed: CableSpeed | None) -> None:
    """After a player's own program change, or half a bank, the scene's sound is sent again; a step of the same sound
    leaves the player's alone if that is what it asks for."""
    played = _Played(speed)
    for selecting in ("C0 09", "B0 20 07"):
        played.burst(LEAD)
        played.run_dry()
        played.select(selecting)
        played.run_dry()
        assert played.burst(LEAD) == 1
        played.run_dry()
    played.select("B0 00 03, B0 20 04, C0 06")
    assert played.burst(OTHER) == 0


def test_a_step_that_was_replaced_before_it_began_was_never_sent() -> None:
    """Back to the first scene before the second one's step began: nothing is sent for it. One that has begun is
    finished, and counts."""
    played = _Played(DIN)
    played.burst(LEAD)
    played.run_dry()
    for key in range(20):
        played.put(f"91 {key:02X} 40")
    assert played.burst(OTHER, SECOND) == 2  # nothing of them fits yet
    assert played.burst(LEAD, SECOND) == 1
    assert played.run_dry().count("C0 06") == 0
    assert played.burst(OTHER) == 1
    assert played.out, "it has begun"
    assert played.burst(LEAD) == 1
    assert played.run_dry() == ["B0 00 03", "B0 20 04", "C0 06", "B0 00 01", "B0 20 02", "C0 05"]


def test_a_program_that_still_waits_lies_between_too() -> None:
    """A routed program that waits behind the settle time would leave after the step that put its channel on its sound:
    the next burst takes its place."""
    played = _Played(DIN)
    played.burst(LEAD)
    played.select("C0 09")
    assert played.cable.sounds[0] == _unit("B0 00 01, B0 20 02, C0 09")
    assert played.burst(LEAD) == 1
    assert played.run_dry() == ["B0 00 01", "B0 20 02", "C0 05"] * 2
    played.burst(OTHER)
    played.select("C0 09")
    played.run_dry()
    assert played.cable.sounds[0] == _unit("B0 00 03, B0 20 04, C0 09")
    assert played.burst(OTHER) == 1


@SPEEDS
def test_a_step_counts_for_those_behind_it(speed: CableSpeed | None) -> None:
    """Of two sounds for one channel both are sent if the first is: the channel ends on the last one every time."""
    played = _Played(speed)
    for _ in range(2):
        assert played.burst(LEAD, OTHER) == 2
        assert played.run_dry()[-1] == "C0 06"


def test_forgotten_sounds_are_sent() -> None:
    """After an output was away, nothing counts as sent."""
    played = _Played(None)
    played.burst(LEAD)
    played.run_dry()
    played.cable.forget_sounds()
    assert played.burst(LEAD) == 1


def test_nothing_overtakes_a_sysex_of_the_set_up() -> None:
    """A reset waits for an instrument that is settling, and the sounds wait for the reset, on every channel."""
    played = _Played(None)
    played.burst(LEAD)
    reset = BurstUnit(0, _unit("F0 7E 7F 09 01 F7"), 200 * MS, lasting=True)
    played.burst(reset, *again([LEAD, SECOND]))
    assert played.run_dry()[3:] == ["F0 7E 7F 09 01 F7", "B0 00 01", "B0 20 02", "C0 05", "C1 05"]


@SPEEDS
def test_a_sound_in_two_steps_is_one_sound(speed: CableSpeed | None) -> None:
    """Its program waits until the messages before it have settled; what is so already is not sent again; and after
    another sound both steps are sent."""
    played = _Played(speed)
    assert played.burst(*TWO_STEPS) == 2
    played.wait(79 * MS)
    assert [message for _, message, _ in played.out] == [*_FIRST]
    played.wait(200 * MS)
    assert [message for _, message, _ in played.out] == [*_FIRST, *_SECOND]
    assert played.burst(*TWO_STEPS) == 0
    assert played.burst(BurstUnit(0, _SECOND, 0)) == 1, "the program alone is another sound"
    played.wait(200 * MS)
    assert played.burst(*TWO_STEPS) == 2


@SPEEDS
def test_a_sound_whose_second_step_was_replaced_is_sent_whole(speed: CableSpeed | None) -> None:
    """A recall between the steps replaces the program; the sound then counts as never reached."""
    played = _Played(speed)
    played.burst(*TWO_STEPS)
    played.wait(10 * MS)
    played.burst(OTHER)
    played.wait(200 * MS)
    assert played.out[-1][1] == OTHER.unit[-1]
    assert played.burst(*TWO_STEPS) == 2
