"""One clock and one time code for the rig: sources, hand-over, routes, edits. (MIDI 1.0 p. 27-32; our own design.)"""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import Begin
from engine.core.timing.clock import period
from engine.midi.timecode import RATES, Label, full_frame, quarter_frames
from engine.rig.read.load import read
from tests.support.check_values import check_value
from tests.support.engine_calls import adopt, apply, finish, sync
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

SECOND = 1000 * MS
DESK, SEQUENCER, PEDAL = 0, 1, 2
BOX, LAMP = 0, 1
CLOCK = b"\xf8"

HEAD = """
format = 1
[inputs]
desk = { port = "a" }
sequencer = { port = "b" }
pedal = { port = "c" }
[outputs]
box = { port = "d" }
lamp = { port = "e" }
"""
SCENE = '[[scenes]]\nnumber = 1\nname = "One"\nroutes = [ ROUTES ]\n'
ALL = '{ from = ["desk", "sequencer", "pedal"], to = ["box", "lamp"] }'


def rig(sync: str = "", routes: str = "", more: str = "") -> str:
    return HEAD + sync + more + SCENE.replace("ROUTES", routes)


def clock(sources: str = '["desk", "sequencer", "internal"]', more: str = "") -> str:
    return f'[sync.clock]\nfrom = {sources}\nto = "box"\n{more}'


class Music(PlayedEngine):
    """A played engine with clocks: each source sends at its own tempo while time goes by."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.take(apply(self.router, self.now, Begin()))
        self.next: dict[int, float] = {}
        self.periods: dict[int, float] = {}

    def start(self, source: int, bpm: float, after: float = 0, *, say: bytes = b"\xfa") -> None:
        if say:
            self.play(source, say)
        self.periods[source] = period(bpm)
        self.next[source] = self.now + MS + after

    def end(self, source: int, say: bytes = b"") -> None:
        del self.next[source]
        if say:
            self.play(source, say)

    def go(self, length: int) -> None:
        end = self.now + length
        while self.next and min(self.next.values()) <= end:
            source = min(self.next, key=lambda each: self.next[each])
            self.wait(max(0, round(self.next[source]) - self.now))
            self.play(source, CLOCK)
            self.next[source] += self.periods[source]
        self.wait(end - self.now)

    def times(self, output: int = BOX, since: int = 0) -> list[int]:
        return [at for at, message, _ in self.heard(output) if message == CLOCK and at >= since]

    def said(self, output: int = BOX) -> list[str]:
        return [message.hex(" ").upper() for _, message, _ in self.heard(output) if message != CLOCK]

    def order(self, part: str, what: str, value: float | str | None = None) -> bool:
        outcome, out = sync(self.router, self.now, part, what, value)
        self.take(out)
        return outcome.done

    @property
    def bpm(self) -> float | None:
        return self.router.state.sync.bpm(self.now)

    @property
    def source(self) -> str | None:
        return self.router.state.sync.clock_source(self.now)

    def edit(self, text: str) -> None:
        """The rig file is edited while it plays."""
        self.take(adopt(self.router, self.now, read(text, "test")))


def gaps(times: list[int]) -> list[int]:
    return [b - a for a, b in pairwise(times)]


# Sources


def test_a_clock_passes_unharmed() -> None:
    """Every clock of the only source reaches the outputs at once, however unsteady; start and stop keep their order."""
    music = Music(rig(clock('"desk"')))
    music.play(DESK, b"\xfa")
    sent = []
    for number in range(300):
        music.wait((20 + number * 7 % 13) * MS if number % 50 else 1 * MS)
        sent.append(music.now)
        music.play(DESK, CLOCK)
    music.play(DESK, b"\xfc")
    assert music.times() == sent
    assert music.said() == ["FA", "FC"]


def test_a_burst_of_clocks_after_a_stall() -> None:
    """Clocks that a driver hands over all at once are all passed on: each is a step of the song (p. 30)."""
    music = Music(rig(clock('"desk"')))
    music.start(DESK, 120)
    music.go(SECOND)
    count = len(music.times())
    for _ in range(5):
        music.play(DESK, CLOCK)
    assert len(music.times()) == count + 5


@pytest.mark.parametrize("phase", [0, 3, 7, 11, 15, 20])
def test_hand_over_to_our_own_clock(phase: int) -> None:
    """When a source falls silent, our clock follows at its tempo, with no gap above four periods or below half a
    period."""
    music = Music(rig(clock('["desk", "internal"]', "bpm = 60\n")))
    music.start(DESK, 120, phase * MS)
    music.go(4 * SECOND)
    assert music.source == "desk"
    assert music.bpm == pytest.approx(120, abs=0.01)
    music.end(DESK)
    music.go(4 * SECOND)
    assert music.source == "internal"
    assert music.bpm == pytest.approx(120, abs=0.01)
    found = gaps(music.times())
    assert max(found) <= 4 * period(120) + MS
    assert min(found) >= period(120) / 2
    assert music.said() == ["FA"]


def test_a_source_that_stopped_is_not_gone_on_with() -> None:
    """After the source has sent stop, silence is intended: our own clock does not start. It goes on as a stopped clock
    does, at the tempo of the source. (MIDI 1.0 p. 30)"""
    music = Music(rig(clock('["desk", "internal"]', "run = true\n")))
    music.go(SECOND)
    music.start(DESK, 120)
    music.go(4 * SECOND)
    music.end(DESK, b"\xfc")
    music.go(4 * SECOND)
    assert max(gaps(music.times())[-200:]) <= 4 * period(120) + MS
    assert (music.source, music.said()) == (None, ["FA", "FC"])


def test_a_clock_that_ran_before_we_came() -> None:
    """A source that was already running when the show began is handed over like any other when it falls silent."""
    music = Music(rig(clock('["desk", "internal"]')))
    music.start(DESK, 90, say=b"")
    music.go(4 * SECOND)
    music.end(DESK)
    music.go(4 * SECOND)
    assert music.source == "internal"
    assert music.bpm == pytest.approx(90, abs=0.01)


def test_hand_over_to_the_next_source() -> None:
    """Without a clock of our own the next live source leads when the first falls silent."""
    music = Music(rig(clock('["desk", "sequencer"]')))
    music.start(DESK, 120)
    music.start(SEQUENCER, 100)
    music.go(4 * SECOND)
    assert music.source == "desk"
    music.end(DESK)
    music.go(4 * SECOND)
    assert music.source == "sequencer"
    found = gaps(music.times())
    assert max(found) <= 4 * period(120) + period(100)
    assert min(found) >= period(120) / 2


@pytest.mark.parametrize("phase", range(0, 21, 2))
def test_a_better_source_takes_over_once_it_is_steady(phase: int) -> None:
    """A source earlier in the list takes the lead after a beat of its clocks, without a doubled clock or a long gap."""
    music = Music(rig(clock('["desk", "sequencer", "internal"]', "run = true\n")))
    music.go(2 * SECOND)
    for source, bpm, name in ((SEQUENCER, 110, "sequencer"), (DESK, 130, "desk")):
        before, begin = music.source, len(music.times())
        music.start(source, bpm, phase * MS)
        music.go(300 * MS)
        assert music.source == before
        music.go(2 * SECOND)
        assert music.source == name
        found = gaps(music.times()[begin - 1 :])
        assert max(found) <= 2 * period(110)
        assert min(found) >= period(130) / 2
    assert music.bpm == pytest.approx(130, abs=0.1)


def test_a_worse_source_never_takes_over() -> None:
    """While a better source is alive, a later source's clocks, starts, stops and positions reach no output."""
    music = Music(rig(clock('["desk", "internal"]')))
    music.start(DESK, 120)
    music.go(SECOND)
    music.start(SEQUENCER, 100)
    music.go(SECOND)
    for message in ("FC", "F2 10 00", "FA", "FB"):
        music.play(SEQUENCER, bytes.fromhex(message))
    music.go(SECOND)
    assert (music.said(), music.source) == (["FA"], "desk")
    assert len(music.times()) == pytest.approx(3 * SECOND / period(120), abs=2)


def test_start_stop_and_position_pass_from_the_leader_only() -> None:
    """The leader's start, stop and position go to the clock's outputs once, even if routes lead there as well."""
    music = Music(rig(clock('["desk", "sequencer"]'), ALL))
    music.start(DESK, 120)
    music.go(SECOND)
    for message in ("FC", "F2 10 00", "FB"):
        music.play(DESK, bytes.fromhex(message))
        music.play(SEQUENCER, bytes.fromhex(message))
    assert music.said() == ["FA", "FC", "F2 10 00", "FB"]


@given(
    st.lists(
        st.tuples(st.sampled_from([DESK, SEQUENCER, PEDAL]), st.integers(20, 300), st.integers(0, 3000)), max_size=8
    ),
    st.sampled_from(['"desk"', '["desk", "sequencer"]', '["desk", "internal"]', '["internal", "desk"]', '"internal"']),
    st.sampled_from(["", ALL, '{ from = "pedal", to = "box" }, { from = "desk", to = ["box", "lamp"] }']),
    st.booleans(),
)
@settings(max_examples=60)
def test_only_one_clock_reaches_an_output(
    events: list[tuple[int, int, int]], sources: str, routes: str, run: bool
) -> None:
    """Whatever clocks come, stop and are routed: no output ever gets two at once.

    A song that starts is no second clock: its first clock is not left out, however soon it follows one that idled.
    """
    music = Music(rig(clock(sources, "run = true\n" if run else ""), routes))
    fastest = 120.0
    ended: set[int] = set()  # one that starts again may send its own first clock at any time after its last
    for source, bpm, length in events:
        if source in music.next:
            music.end(source)
            ended.add(source)
        elif source not in ended:
            fastest = max(fastest, bpm)
            music.start(source, bpm)
        music.go(length * MS)
    for output in (BOX, LAMP):
        heard = [(at, message) for at, message, _ in music.heard(output)]
        found = [b - a for (a, before), (b, after) in pairwise(heard) if before == after == CLOCK]
        # a new leader keeps half a period of its own from the last clock of the one before
        assert all(gap >= period(fastest) / 2 - MS for gap in found)


@pytest.mark.parametrize(("silent", "passes"), [(490, False), (510, True)])
def test_an_output_stays_with_its_routed_clock_for_half_a_second(silent: int, passes: bool) -> None:
    """A routed clock that fell silent keeps its output for half a second; then another one may have it."""
    music = Music(rig(routes=ALL))
    music.play(DESK, CLOCK)
    music.wait(silent * MS)
    music.play(SEQUENCER, CLOCK)
    assert len(music.times()) == 1 + passes


# Our own clock


def test_our_own_clock_through_the_router() -> None:
    """Six minutes of our own clock through the whole router: as many clocks as the tempo requires."""
    music = Music(rig(clock('"internal"', "bpm = 97.3\n")))
    assert music.order("clock", "start")
    music.go(360 * SECOND)
    assert len(music.times()) == int((360 * SECOND - MS) / period(97.3)) + 1
    assert music.order("clock", "stop")
    assert not music.order("clock", "stop")
    assert music.order("clock", "continue")
    assert not music.order("clock", "start")
    assert music.said() == ["FA", "FC", "F2 1F 12", "FB"]


def test_our_own_clock_is_not_started_over_a_better_one() -> None:
    """While a better source leads, ours can be neither started nor stopped; the answer names the source."""
    music = Music(rig(clock('["desk", "internal"]')))
    music.start(DESK, 120)
    music.go(SECOND)
    outcome, out = sync(music.router, music.now, "clock", "start")
    assert (outcome.done, out) == (False, [])
    assert "desk" in outcome.text
    assert music.source == "desk"


def test_our_own_clock_goes_before_a_worse_one() -> None:
    """If our own clock is first in the list, it leads as soon as a command starts it, and the other no longer reaches
    the outputs."""
    music = Music(rig(clock('["internal", "desk"]', "bpm = 140\n")))
    music.start(DESK, 120)
    music.go(SECOND)
    assert music.source == "desk"
    assert music.order("clock", "start")
    begin = music.now + MS
    music.go(2 * SECOND)
    assert (music.source, music.bpm) == ("internal", 140)
    assert gaps(music.times(since=begin))[3:] == pytest.approx(
        [period(140)] * (len(music.times(since=begin)) - 4), abs=1
    )


def test_an_output_named_twice_has_one_clock() -> None:
    """An output listed twice in `to` gets each clock once; two of each would double the tempo."""
    twice = '[sync.clock]\nto = ["box", "box"]\nrun = true\n[sync.timecode]\nto = ["lamp", "lamp"]\nrun = true\n'
    music = Music(rig(twice))
    music.go(SECOND - MS)
    assert len(music.times()) == 48
    assert len(music.said(LAMP)) == 1 + 100  # a full message, and four quarter frames for each of 25 frames


def test_tapping_through_the_router() -> None:
    """A tap pedal sets our own tempo, and the answer gives it."""
    tap = '[[controls]]\ninput = "pedal"\nwhen = { controller = 64 }\ndo = "tap"\n'
    music = Music(rig(clock('"internal"'), more=tap))
    for _ in range(4):
        music.play(PEDAL, bytes.fromhex("B0 40 7F"))
        music.play(PEDAL, bytes.fromhex("B0 40 00"))
        music.wait(400 * MS)
    assert music.bpm == pytest.approx(150)


# Time code and user bits


def test_time_code_goes_to_its_outputs() -> None:
    """Quarter frames, full messages, user bits and dropouts go to the outputs of [sync.timecode]; other SysEx does
    not."""
    music = Music(rig('[sync.timecode]\nfrom = "desk"\nto = "lamp"\n'))
    bits = check_value("mtc-userbits").expected
    passing = ["F1 00", "F0 7F 7F 01 01 20 00 00 00 F7", bits, "F0 7E 00 7E 00 F7"]
    for message in [*passing, "F0 43 10 01 00 F7", "F0 7E 7F 06 01 F7", "F0 7F 7F 06 01 F7"]:
        music.play(DESK, bytes.fromhex(message))
        music.play(SEQUENCER, bytes.fromhex(message))
    assert music.said(LAMP) == passing
    assert music.said(BOX) == []


def test_user_bits_pass_by_routes() -> None:
    """Time code and user bits are routed like any other message."""
    music = Music(rig(routes=ALL))
    bits = check_value("mtc-userbits").expected
    for message in ("F1 00", bits):
        music.play(DESK, bytes.fromhex(message))
    assert music.said(LAMP) == music.said(BOX) == ["F1 00", bits]
    (groups,) = (message.split()[5:13] for message in music.said(LAMP)[1:])
    nibbles = [group[1] for group in reversed(groups)]  # h to a
    joined = [high + low for high, low in zip(nibbles[::2], nibbles[1::2], strict=True)]
    assert joined == check_value("mtc-userbits-order").expected["characters"]


def test_a_source_that_stops_is_shown_as_stopped() -> None:
    """Within half a second of the last quarter frame the time code stops at its last place, without more input."""
    music = Music(rig('[sync.timecode]\nfrom = "desk"\n'))
    for number in range(80):
        music.play(DESK, quarter_frames(Label(RATES["25"], number // 8 * 2))[number % 8])
        music.wait(10 * MS)
    shown = music.router.state.sync.shown(music.now)
    assert shown is not None
    assert (shown.running, shown.source) == (True, "desk")
    music.wait(490 * MS)
    after = music.router.state.sync.shown(music.now)
    assert after is not None
    assert (after.running, after.label) == (False, shown.label)


def test_with_the_clock() -> None:
    """With `with_clock` our time code runs at the followed clock's start and stops at its stop."""
    sync = clock('"desk"') + '[sync.timecode]\nto = "lamp"\nwith_clock = true\n'
    music = Music(rig(sync))
    music.start(DESK, 120)
    music.go(SECOND)
    shown = music.router.state.sync.shown(music.now)
    assert shown is not None
    assert shown.running
    music.end(DESK, b"\xfc")
    music.go(SECOND)
    after = music.router.state.sync.shown(music.now)
    assert after is not None
    assert not after.running
    assert after.label.frame == pytest.approx(25, abs=1)


# Live edits


EDITED = '[[controls]]\ninput = "pedal"\nwhen = { program = "any" }\ndo = "scene"\n'


def test_our_own_clock_runs_on_over_an_edit() -> None:
    """An edit that leaves [sync] alone moves no clock by a nanosecond, and the place in the song is kept."""
    sync = clock('"internal"', "bpm = 97.3\nrun = true\n")
    plain, edited = Music(rig(sync)), Music(rig(sync))
    for music in (plain, edited):
        music.go(1234 * MS)
    edited.edit(rig(sync, more=EDITED))
    for music in (plain, edited):
        music.go(3 * SECOND)
    assert edited.heard(BOX) == plain.heard(BOX)
    assert edited.router.state.sync.clock is not None
    assert plain.router.state.sync.clock is not None
    assert edited.router.state.sync.clock.position == plain.router.state.sync.clock.position


def test_a_followed_clock_leads_on_over_an_edit() -> None:
    """After an edit the leader still leads, its tempo is known at once, and a hand-over is as without the edit."""
    sync = clock('["desk", "internal"]')
    music = Music(rig(sync))
    music.start(DESK, 120)
    music.go(2 * SECOND)
    music.edit(rig(sync, more=EDITED))
    assert music.source == "desk"
    assert music.bpm == pytest.approx(120, abs=0.01)
    music.end(DESK)
    music.go(2 * SECOND)
    assert music.source == "internal"
    assert music.bpm == pytest.approx(120, abs=0.01)
    assert max(gaps(music.times())) <= 4 * period(120) + MS


def test_time_code_runs_on_over_an_edit() -> None:
    """Our own time code, one that is received, and the record of cues passed continue unchanged over an edit."""
    for table in ('[sync.timecode]\nto = "lamp"\nrun = true\n', '[sync.timecode]\nfrom = "desk"\nto = "lamp"\n'):
        evenings = [Music(rig(table)), Music(rig(table))]
        for music in evenings:
            for number in range(200):
                music.play(DESK, quarter_frames(Label(RATES["25"], number // 8 * 2))[number % 8])
                music.wait(10 * MS)
                if number == 101 and music is evenings[1]:
                    music.edit(rig(table, more=EDITED))
        plain, edited = evenings
        assert edited.heard(LAMP) == plain.heard(LAMP)
        assert edited.router.state.sync.shown(edited.now) == plain.router.state.sync.shown(plain.now)


def test_a_cue_is_not_recalled_again_by_an_edit() -> None:
    """A cue passed before the edit is not recalled after it; one added ahead is."""
    cue = '[[scenes]]\nnumber = {0}\nname = "Cue {0}"\nat = "00:00:{1:02}:00"\n'
    sync = '[sync.timecode]\nto = "lamp"\nrun = true\n'
    music = Music(rig(sync) + cue.format(2, 1))
    music.wait(1500 * MS)
    music.edit(rig(sync) + cue.format(2, 1) + cue.format(3, 2))
    music.wait(1500 * MS)
    recalled = [each.scene[0] for each in music.router.reports.outcomes if each.source == "time code" and each.scene]
    assert recalled == [2, 3]


def test_edits_of_sync_itself() -> None:
    """A new tempo holds from the current clock on; an output that was removed is sent stop; without [sync] all are."""
    music = Music(rig('[sync.clock]\nto = ["box", "lamp"]\nrun = true\n'))
    music.go(SECOND)
    music.edit(rig('[sync.clock]\nto = "box"\nbpm = 90\nrun = true\n'))
    begin = music.now
    music.go(SECOND)
    assert music.said(LAMP) == ["FA", "FC"]
    assert music.times(LAMP, begin) == []
    assert gaps(music.times(BOX, begin)) == pytest.approx([period(90)] * (len(music.times(BOX, begin)) - 1), abs=1)
    music.edit(rig())
    music.go(SECOND)
    assert music.said(BOX) == ["FA", "FC"]
    music.edit(rig(clock('"internal"', "run = true\n")))
    music.go(SECOND)
    assert music.said(BOX) == ["FA", "FC", "FA"]


def test_a_source_that_is_edited_out() -> None:
    """If the leader is removed from the list, our own clock follows at its tempo."""
    music = Music(rig(clock('["desk", "internal"]')))
    music.start(DESK, 130)
    music.go(2 * SECOND)
    music.edit(rig(clock('"internal"')))
    music.go(SECOND)
    assert music.source == "internal"
    assert music.bpm == pytest.approx(130, abs=0.01)
    assert min(gaps(music.times())) >= period(130) / 2


def test_time_code_is_shown_from_wherever_it_comes() -> None:
    """Without [sync.timecode] the time code of the first input that sends one is shown."""
    music = Music(rig())
    assert music.router.state.sync.shown(0) is None
    music.play(SEQUENCER, full_frame(Label(RATES["30"], 12345)))
    shown = music.router.state.sync.shown(0)
    assert shown is not None
    assert (shown.label, shown.running, shown.source) == (Label(RATES["30"], 12345), False, "sequencer")


def test_the_tempo_shown_is_that_of_an_input_that_still_sends_one() -> None:
    """Without a clock of its own, the rig shows the tempo of the first input whose clock runs, and its name; none, once
    all are silent."""
    music = Music(rig(routes=ALL))
    followed = music.router.state.sync
    assert (followed.bpm(music.now), followed.clock_source(music.now)) == (None, None)
    music.start(DESK, 90)
    music.start(SEQUENCER, 120, say=b"")
    music.go(3 * SECOND)
    assert followed.bpm(music.now) == pytest.approx(90, abs=0.1)
    assert followed.clock_source(music.now) == "desk"
    music.end(DESK)
    music.go(3 * SECOND)
    assert followed.bpm(music.now) == pytest.approx(120, abs=0.1)
    assert followed.clock_source(music.now) == "sequencer"
    music.end(SEQUENCER)
    music.go(3 * SECOND)
    assert (followed.bpm(music.now), followed.clock_source(music.now)) == (None, None)


def test_our_own_clock_says_stop_when_the_show_ends() -> None:
    """Gear that counts our clock would wait for the next one for ever; gear led by another machine is left alone.
    (p. 30)"""
    played = Music(rig(clock('"internal"', "run = true\n")))
    played.wait(SECOND)
    clocks = len(played.times())
    played.take(finish(played.router, played.now))
    played.take(finish(played.router, played.now))  # asked again while messages wait for their cable
    played.wait(SECOND)
    assert played.said() == ["FA", "FC"]
    assert len(played.times()) == clocks

    follower = Music(rig(clock('"internal"', "run = true\n")))
    follower.router.state.led_by = "laptop"
    follower.take(finish(follower.router, follower.now))
    assert follower.said() == ["FA"]

    led = Music(rig(clock()))
    led.start(SEQUENCER, 120)
    led.go(SECOND)
    led.take(finish(led.router, led.now))
    assert "FC" not in led.said()
