"""One output's cable, by examples: what may overtake, what yields, and what is never lost."""

from collections.abc import Callable

import pytest

from engine.core.cable.output_cable import BurstUnit, Delivery
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN, DIN_RUNNING, CableSpeed
from tests.support.pit_engine import MS
from tests.support.receiver import Receiver

LEAD = BurstUnit(0, (b"\xb0\x00\x01", b"\xb0\x20\x02", b"\xc0\x05"), 30 * MS)
OTHER = BurstUnit(0, (b"\xb0\x00\x03", b"\xb0\x20\x04", b"\xc0\x06"), 30 * MS)
SECOND = BurstUnit(1, (b"\xb1\x00\x01", b"\xb1\x20\x02", b"\xc1\x05"), 0)
DUMP = b"\xf0\x7d" + bytes(997) + b"\xf7"  # 1,000 bytes, 320 ms


class CableInTime:
    """A cable, the time, and everything handed over so far, with its time."""

    def __init__(self, speed: CableSpeed | None = DIN) -> None:
        self.cable = Cable(0, speed)
        self.now = 0
        self.handed: list[tuple[int, Delivery]] = []

    def put(self, *unit: str) -> None:
        self._do(lambda out: self.cable.put(self.now, tuple(bytes.fromhex(m) for m in unit), out))

    def burst(self, *steps: BurstUnit) -> None:
        self._do(lambda out: self.cable.burst(self.now, steps, out))

    def panic(self, *messages: str) -> None:
        self._do(lambda out: self.cable.panic(self.now, [bytes.fromhex(m) for m in messages], out))

    def fill(self) -> None:
        """Six notes on channel 3: more than may be handed over ahead of time, so that what follows waits."""
        for key in range(6):
            self.put(f"92 {key:02X} 40")
        assert self.cable.due is not None

    def until(self, end: int) -> None:
        while self.cable.due is not None and self.cable.due <= end:
            self.now = max(self.now, self.cable.due)
            self._do(lambda out: self.cable.flush(self.now, out))
        self.now = end

    def run_dry(self) -> list[str]:
        while self.cable.due is not None:
            self.until(self.cable.due)
        return self.heard

    @property
    def heard(self) -> list[str]:
        return [message.hex(" ").upper() for _, (_, message, _) in self.handed if message[0] != 0x92]

    def _do(self, call: Callable[[list[Delivery]], object]) -> None:
        out: list[Delivery] = []
        call(out)
        self.handed += [(self.now, delivery) for delivery in out]


def test_a_panic_keeps_the_releases_that_wait() -> None:
    """Waiting releases stay: note-ons may have left, and a receiver may ignore All Notes Off (MIDI 1.0 p. 24)."""
    cable = CableInTime()
    cable.put("90 3C 40")
    cable.fill()
    cable.put("80 3C 40")
    cable.put("90 3D 40")
    cable.panic("B0 7B 00")
    assert cable.run_dry() == ["90 3C 40", "B0 7B 00", "80 3C 40"]


def test_a_second_panic_keeps_the_releases_of_the_first() -> None:
    """Two panics at the same moment: the releases of both are sent, and what they share is sent once."""
    cable = CableInTime()
    cable.fill()
    cable.panic("80 3C 40", "B0 7B 00")
    cable.panic("80 3D 40", "B0 7B 00")
    assert cable.run_dry() == ["80 3C 40", "80 3D 40", "B0 7B 00"]


def test_a_panic_forgets_the_older_value_of_what_it_sets() -> None:
    """A waiting pedal press is not sent after the panic; a program, and a wheel's return to rest, still arrive."""
    cable = CableInTime()
    cable.fill()
    for message in ("B0 40 7F", "C0 05", "B0 01 00", "E0 00 50"):
        cable.put(message)
    cable.panic("B0 40 00", "E0 00 40")
    assert cable.run_dry() == ["B0 40 00", "E0 00 40", "C0 05", "B0 01 00"]


def test_a_panic_forgets_what_is_parked_for_a_settling_instrument() -> None:
    """A note waiting for the settle time does not sound after the panic; its channel's releases are kept."""
    cable = CableInTime()
    cable.burst(LEAD)
    for message in ("90 3C 40", "80 3B 40", "B0 40 7F"):
        cable.put(message)
    cable.panic("B0 40 00")
    assert cable.run_dry() == ["B0 00 01", "B0 20 02", "C0 05", "B0 40 00", "80 3B 40"]


def test_a_burst_takes_the_place_of_programs_that_wait() -> None:
    """A program routed before the recall is not sent after the burst: the instrument ends on the scene's sound."""
    cable = CableInTime()
    cable.fill()
    for message in ("B0 00 09", "90 3C 40", "B0 20 09", "C0 09", "C1 09"):
        cable.put(message)
    cable.burst(LEAD)
    assert cable.run_dry() == ["B0 00 01", "B0 20 02", "C0 05", "C1 09", "90 3C 40"]


@pytest.mark.parametrize("speed", [None, DIN], ids=["fast", "din"])
def test_a_second_burst_takes_the_place_of_programs_parked_for_the_first(speed: CableSpeed | None) -> None:
    """A program routed in the first scene does not change the sound of the second."""
    cable = CableInTime(speed)
    cable.burst(LEAD)
    cable.until(10 * MS)
    cable.put("C0 09")
    cable.put("90 3C 40")
    cable.burst(OTHER)
    cable.put("C0 08")
    assert cable.run_dry()[3:] == ["B0 00 03", "B0 20 04", "C0 06", "90 3C 40", "C0 08"]


def test_a_burst_that_has_not_begun_is_replaced() -> None:
    """A second recall finishes the triple that has begun and replaces the rest: only whole triples are sent."""
    cable = CableInTime()
    cable.fill()
    cable.burst(LEAD, SECOND)
    cable.until(cable.cable.due or 0)
    assert cable.heard == ["B0 00 01"]
    cable.burst(OTHER)
    assert cable.run_dry() == ["B0 00 01", "B0 20 02", "C0 05", "B0 00 03", "B0 20 04", "C0 06"]


def test_a_burst_that_has_not_begun_is_replaced_by_nothing() -> None:
    """Recalling a scene without a burst withdraws the waiting burst, and the messages held up by it go on."""
    cable = CableInTime()
    cable.fill()
    cable.burst(LEAD)
    cable.put("90 3C 40")
    cable.burst()
    assert cable.run_dry() == ["90 3C 40"]


@pytest.mark.parametrize("speed", [None, DIN], ids=["fast", "din"])
def test_other_channels_go_on_while_an_instrument_settles(speed: CableSpeed | None) -> None:
    """A note for the instrument waits until the settle time is over; one for another channel does not."""
    cable = CableInTime(speed)
    cable.burst(LEAD)
    cable.until(10 * MS)
    cable.put("90 3C 40")
    cable.put("91 3C 40")
    cable.run_dry()
    assert cable.heard[3:] == ["91 3C 40", "90 3C 40"]
    assert cable.handed[3][0] == 10 * MS
    program = cable.handed[2][1]
    ended = program[2] + (0 if speed is None else 2 * DIN.byte_ns)
    assert cable.handed[4][0] == ended + 30 * MS


def test_clocks_pass_inside_a_dump() -> None:
    """Real-time bytes may go inside a SysEx (din-sysex-hold-clock: 320 ms would hold 15 clocks at 120 bpm), even more
    at once than may be handed over ahead of time."""
    cable = CableInTime()
    cable.put(DUMP.hex())
    for _ in range(15):
        cable.put("F8")
    cable.put("90 3C 40")
    cable.until(20 * MS)
    assert cable.heard[1:] == ["F8"] * 15
    assert cable.run_dry()[-1] == "90 3C 40"


def test_clocks_inside_a_dump_follow_each_other() -> None:
    """Two real-time bytes that come together leave one byte's time apart, not further: no crowd of them waits."""
    cable = CableInTime()
    cable.put(DUMP.hex())
    cable.until(MS)
    cable.put("F8")
    cable.put("FA")
    (_, (_, _, first)), (_, (_, _, second)) = cable.handed[1:]
    assert (first, second) == (MS, MS + DIN.cost(b"\xf8"))


def test_clocks_pass_inside_a_triple() -> None:
    """Real-time bytes pass inside bank, bank, program; song position waits until they are through."""
    cable = CableInTime()
    cable.fill()
    cable.put("B0 00 08", "B0 20 09", "C0 01")
    while not cable.heard:
        cable.until(cable.cable.due or 0)
    for message in ("F8", "F2 00 00"):
        cable.put(message)
    assert cable.run_dry() == ["B0 00 08", "F8", "B0 20 09", "C0 01", "F2 00 00"]


def test_nothing_of_a_filters_answer_is_lost() -> None:
    """A filter may answer with several messages of any kind; on a full cable all of them arrive."""
    cable = CableInTime()
    cable.fill()
    cable.put("F8", "F8", "F8")
    cable.put("F1 00", "F6")
    cable.put("F8", "90 3C 40")
    assert cable.run_dry() == ["F8", "F8", "F8", "F8", "F1 00", "F6", "90 3C 40"]


def test_a_chord_on_two_channels_respects_both() -> None:
    """If an answer is on two channels, the part for an instrument that is still settling waits."""
    cable = CableInTime(None)
    cable.burst(LEAD)
    cable.until(10 * MS)
    cable.put("91 3C 40", "90 3C 40")
    assert cable.heard[3:] == ["91 3C 40"]
    assert cable.run_dry()[3:] == ["91 3C 40", "90 3C 40"]


@pytest.mark.parametrize("channel", [0, 3])
@pytest.mark.parametrize("settling", [False, True])
def test_reset_all_controllers_is_not_overtaken(channel: int, settling: bool) -> None:
    """Messages keep their order around a reset: earlier moves stay before it, later ones after it (RP-015)."""
    cable = CableInTime()
    if settling:
        cable.burst(BurstUnit(channel, (bytes((0xC0 | channel, 5)),), 30 * MS))
    else:
        cable.fill()
    moves = [f"B{channel} 01 64", f"E{channel} 00 50", f"B{channel} 79 00", f"B{channel} 01 14"]
    for message in moves:
        cable.put(message)
    assert [message for message in cable.run_dry() if message != f"C{channel} 05"] == moves


def test_a_newer_value_takes_the_place_of_the_one_that_waits() -> None:
    """On a full cable only the last value of a fader arrives; every switch, data entry and parameter number arrives."""
    cable = CableInTime()
    cable.fill()
    for message in ("B0 07 10", "B0 40 7F", "B0 40 00", "B0 65 00", "B0 06 02", "B0 06 03", "B0 07 20"):
        cable.put(message)
    assert cable.run_dry() == ["B0 40 7F", "B0 40 00", "B0 65 00", "B0 06 02", "B0 06 03", "B0 07 20"]
    assert cable.cable.counts.replaced == 1


def test_a_new_high_byte_makes_the_low_byte_that_waits_void() -> None:
    """The receiver sets the low byte to 0 at a new high byte (MIDI 1.0 p. 12), so an old one must not follow it."""
    cable = CableInTime()
    cable.fill()
    for message in ("B0 07 10", "B0 27 55", "B0 07 20"):
        cable.put(message)
    assert cable.run_dry() == ["B0 07 20"]


def test_a_dump_waits_for_notes_and_a_short_sysex_does_not() -> None:
    """A long SysEx goes when nothing else is waiting; a short one keeps its place among the notes."""
    cable = CableInTime()
    cable.fill()
    cable.put(DUMP.hex())
    for message in ("90 3C 40", "F0 7D 01 F7", "80 3C 40"):
        cable.put(message)
    assert cable.run_dry() == ["90 3C 40", "F0 7D 01 F7", "80 3C 40", DUMP.hex(" ").upper()]


def test_the_receiver_ends_on_whole_sounds_of_one_scene() -> None:
    """Wherever two recalls meet on a full cable, each program arrives with the bank of its own scene."""
    for wait in range(0, 40 * MS, MS // 2):
        cable, synth = CableInTime(), Receiver()
        cable.fill()
        cable.burst(LEAD, SECOND)
        cable.until(wait)
        cable.burst(OTHER)
        cable.run_dry()
        for _, (_, message, _) in cable.handed:
            synth.hear(message)
        assert set(synth.selected) <= {(0, 1, 2, 5), (1, 1, 2, 5), (0, 3, 4, 6)}
        assert synth.sound[0] == (3, 4, 6)


# How full the cable is


def test_how_long_the_cable_has_carried() -> None:
    """A byte occupies a DIN cable for 320 µs (MIDI 1.0 p. 1), from the moment its first bit leaves."""
    cable = CableInTime()
    cable.put("90 3C 40")
    assert cable.cable.carried(0) == 0
    assert cable.cable.carried(320_000) == 320_000
    assert cable.cable.carried(960_000) == 960_000
    assert cable.cable.carried(50 * MS) == 960_000
    cable.now = 50 * MS
    cable.put("80 3C 40")
    assert cable.cable.carried(60 * MS) == 2 * 960_000


def test_a_byte_inside_a_dump_counts() -> None:
    """A clock that slips into a SysEx makes it 320 µs longer."""
    cable = CableInTime()
    cable.put(DUMP.hex())
    cable.put("F8")
    assert cable.cable.carried(1000 * MS) == 1001 * 320_000


def test_running_status_is_a_byte_less() -> None:
    """A status byte that is left out (MIDI 1.0 p. A-1) takes no time."""
    cable = CableInTime(DIN_RUNNING)
    cable.put("90 3C 40")
    cable.put("90 3C 00")
    assert cable.cable.carried(1000 * MS) == 5 * 320_000


def test_a_cable_that_never_rests_carries_all_the_time() -> None:
    """While more is waiting than the cable can carry, its busy time equals the time that has passed."""
    cable = CableInTime()
    for key in range(100):
        cable.put(f"90 {key:02X} 40")
    cable.until(10 * MS)
    begin = cable.cable.carried(10 * MS)
    cable.until(60 * MS)
    assert cable.cable.carried(60 * MS) - begin == 50 * MS


def test_the_order_in_which_things_leave() -> None:
    """With one of each kind waiting, they leave in this order: real time, the rest of a unit that has begun, a panic,
    time code, a burst, notes, values, long SysEx (cables-and-bursts in the handbook)."""
    cable = CableInTime()
    for key in (1, 2):
        cable.put(f"92 {key:02X} 40")
    cable.put("B3 00 01", "B3 20 02", "C3 05")
    assert cable.heard == ["B3 00 01"]
    cable.panic("B0 7B 00")
    cable.put("F0 " + "00 " * 40 + "F7")
    cable.put("B4 01 10")
    cable.put("94 3C 40")
    cable.burst(SECOND)
    cable.put("F1 24")
    cable.put("F8")
    rest = [message[:8] for message in cable.run_dry()[1:]]
    burst = ["B1 00 01", "B1 20 02", "C1 05"]
    assert rest == ["F8", "B3 20 02", "C3 05", "B0 7B 00", "F1 24", *burst, "94 3C 40", "B4 01 10", "F0 00 00"]
