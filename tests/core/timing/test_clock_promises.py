"""The rig's clock as sequencers hear it: the place in the song, clocks while stopped, offsets. (MIDI 1.0 p. 27-32.)"""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import TapTempo
from engine.core.timing.clock import PER_SIXTEENTH, period
from tests.core.timing.test_sync import BOX, CLOCK, DESK, LAMP, PEDAL, SECOND, Music, clock, gaps, rig
from tests.support.check_values import check_value
from tests.support.engine_calls import apply, finish
from tests.support.pit_engine import MS
from tests.support.sequencer import Sequencer

OWN = '[sync.clock]\nto = ["box", "lamp"]\n'


def new(text: str) -> str:
    """The same rig in format 2."""
    return text.replace("format = 1", "format = 2")


def listening(music: Music, output: int = BOX, since: int = 0) -> Sequencer:
    """A sequencer at an output that was turned on at this time."""
    made = Sequencer()
    for at, message, _ in music.heard(output):
        if at >= since:
            made.hear(at, message)
    return made


WAITS = st.tuples(st.just("wait"), st.integers(0, 1500))
ORDERS = st.one_of(
    st.tuples(st.sampled_from(["start", "stop", "continue", "tap"]), st.none()),
    st.tuples(st.just("locate"), st.integers(0, 16383)),
    st.tuples(st.just("tempo"), st.sampled_from([20, 61, 120, 300])),
)
EVENINGS = st.lists(st.one_of(WAITS, ORDERS), max_size=25)


def perform(music: Music, evening: list[tuple[str, Any]]) -> None:
    for what, value in evening:
        if what == "wait":
            music.go(value * MS)
        elif what == "tap":
            music.take(apply(music.router, music.now, TapTempo()))
        else:
            music.order("clock", what, value)


# Song position


@settings(max_examples=120)
@given(EVENINGS, st.integers(0, 20))
def test_every_sequencer_is_at_the_same_place(evening: list[tuple[str, Any]], late: int) -> None:
    """After any commands, a sequencer that plays is where our own clock is, even one that was turned on late and then
    heard a start or a continue; what it is sent is as the standard has it (the sequencer asserts that)."""
    music = Music(rig(OWN))
    perform(music, evening[:late])
    on = music.now + 1
    music.wait(1)
    perform(music, evening[late:])
    music.wait(200 * MS)
    own = music.router.state.sync.clock
    assert own is not None
    whole, part = listening(music), listening(music, since=on)
    assert whole.playing == own.running
    if whole.playing:
        assert whole.place - 1 == own.position
    if part.playing:
        assert part.place == whole.place


@settings(max_examples=100)
@given(st.integers(0, 4000), st.sampled_from([20, 97.3, 120, 300]), st.integers(0, 500))
def test_continue_names_the_sixteenth_that_has_begun(played: int, bpm: float, rest: int) -> None:
    """After stop inside a beat, song position names the sixteenth that has begun, and the song goes on from there."""
    music = Music(rig(OWN))
    music.order("clock", "tempo", bpm)
    music.order("clock", "start")
    music.go(played * MS)
    music.order("clock", "stop")
    before = listening(music)
    last = before.played[-1][1] if before.played else 0
    music.go(rest * MS)
    music.order("clock", "continue")
    music.go(SECOND)
    after = listening(music)
    assert after.located == [last // PER_SIXTEENTH]
    assert after.played[len(before.played)][1] == last // PER_SIXTEENTH * PER_SIXTEENTH
    assert [b - a for (_, a), (_, b) in pairwise(after.played[len(before.played) :])] == [1] * (
        len(after.played) - len(before.played) - 1
    )


@pytest.mark.parametrize("name", ["spp-0", "spp-10", "spp-256", "spp-16383"])
def test_a_located_clock_says_where_it_is(name: str) -> None:
    """Locate sends the song position at once; continue sends it again and goes on from there."""
    entry = check_value(name)
    music = Music(rig(OWN))
    assert music.order("clock", "locate", entry.input["spp"])
    assert music.said() == [entry.expected["bytes"]]
    music.order("clock", "continue")
    music.go(100 * MS)
    assert music.said() == [entry.expected["bytes"], entry.expected["bytes"], "FB"]
    assert listening(music).played[0][1] == entry.expected["clocks"]


def test_no_song_position_while_the_song_plays() -> None:
    """Locate is refused while the clock runs (p. 29), and so is a position that the message cannot name."""
    music = Music(rig(OWN))
    for wrong in (-1, 16384, 0.5, float("nan"), "12", None):
        assert not music.order("clock", "locate", wrong)
    music.order("clock", "start")
    assert not music.order("clock", "locate", 8)
    positions = [said for said in music.said() if said.startswith("F2")]
    assert (positions or "not sent") == check_value("spp-only-stopped").expected
    assert music.said() == ["FA"]


def test_a_song_that_is_too_long_for_a_song_position() -> None:
    """Beyond the last song position nothing can name the place: continue goes out alone, and the song goes on."""
    music = Music(rig(OWN))
    music.order("clock", "tempo", 300)
    music.order("clock", "locate", check_value("spp-16383").input["spp"])
    music.order("clock", "continue")
    music.go(SECOND)
    music.order("clock", "stop")
    music.order("clock", "continue")
    music.go(SECOND)
    assert music.said()[-2:] == ["FC", "FB"]


@settings(max_examples=60)
@given(EVENINGS, st.integers(0, 60), st.sampled_from([b"\x90\x3c\x40", b"\xf0" + bytes(40) + b"\xf7", b"\xe0\x01\x02"]))
def test_a_busy_cable_keeps_the_order(evening: list[tuple[str, Any]], crowd: int, message: bytes) -> None:
    """On a full DIN cable, too, a song position leaves before its continue, and clocks, starts and stops keep their
    order."""
    text = OWN.replace('["box", "lamp"]', '"box"')
    busy = rig(text, '{ from = "pedal", to = "box" }').replace('port = "d"', 'port = "d", wire = "din"')
    music, quiet = Music(busy), Music(rig(text))
    for what, value in evening:
        for _ in range(crowd):
            music.play(PEDAL, message)
        for each in (music, quiet):
            perform(each, [(what, value)])
    for each in (music, quiet):
        each.wait(SECOND)
    sync = [said for said in music.said() if said[:2] in ("F2", "FA", "FB", "FC")]
    assert sync == quiet.said()
    assert [m for _, m, _ in music.heard(BOX) if m[0] > 0xF1] == [m for _, m, _ in quiet.heard(BOX)]


# While it is stopped


@settings(max_examples=80)
@given(EVENINGS)
def test_the_clock_goes_on_while_it_is_stopped(evening: list[tuple[str, Any]]) -> None:
    """From the beginning of the show, clocks are never further apart than the slowest tempo has them, whatever is
    commanded."""
    music = Music(rig(OWN))
    perform(music, [("wait", 300), *evening, ("wait", 300)])
    found = listening(music).clocks
    assert (found[0] == 0) is check_value("clock-while-stopped").expected
    assert max(gaps(found)) <= period(20) + MS
    assert music.now - found[-1] <= period(20)


@settings(max_examples=80)
@given(st.lists(st.one_of(WAITS, st.tuples(st.sampled_from(["start", "stop", "continue"]), st.none())), max_size=25))
def test_no_start_disturbs_the_tempo(evening: list[tuple[str, Any]]) -> None:
    """Whenever it is started and stopped, each clock comes at its time, or up to 1 ms later behind a start (p. 30)."""
    music = Music(rig(OWN))
    perform(music, evening)
    music.wait(300 * MS)
    for number, at in enumerate(music.times()):
        assert -1 <= at - number * period(120) <= MS + 1


def test_a_start_after_a_stall() -> None:
    """Clocks that were not sent while the song was stopped are none of the song."""
    music = Music(rig(OWN))
    music.go(SECOND)
    music.now += 333 * MS
    music.order("clock", "start")
    begin = music.now
    music.go(SECOND)
    found = music.times(since=begin)
    assert begin + MS <= found[0] <= begin + period(120) + MS
    assert gaps(found) == pytest.approx([period(120)] * (len(found) - 1), abs=MS)


def test_a_start_without_idle_clocks() -> None:
    """With `idle = false` the song begins 1 ms after start (p. 30)."""
    music = Music(new(rig(OWN + "idle = false\n")))
    music.go(777 * MS)
    music.order("clock", "start")
    music.go(SECOND)
    assert music.times()[0] == 778 * MS


def test_clocks_while_stopped_have_the_tempo() -> None:
    """Stop changes no clock's time, a new tempo holds while stopped, and no clock that comes then moves the song."""
    music = Music(rig(OWN))
    music.order("clock", "start")
    music.go(1010 * MS)
    music.order("clock", "stop")
    music.go(2 * SECOND)
    assert gaps(music.times(since=2 * MS)) == pytest.approx([period(120)] * (len(music.times()) - 2), abs=1)
    music.order("clock", "tempo", 90)
    begin = music.now
    music.go(2 * SECOND)
    assert gaps(music.times(since=begin)) == pytest.approx([period(90)] * (len(music.times(since=begin)) - 1), abs=1)
    heard = listening(music)
    assert (heard.place, heard.playing) == (49, False)
    assert music.source is None
    assert music.bpm == 90


def test_a_clock_that_minds_is_silent_while_stopped() -> None:
    """With `idle = false` no clock goes out before start and after stop; an edit of it holds at once."""
    silent, going = (new(rig(OWN + f"idle = {word}\n")) for word in ("false", "true"))
    music = Music(silent)
    music.go(SECOND)
    assert music.times() == []
    music.order("clock", "start")
    music.go(SECOND)
    music.order("clock", "stop")
    count = len(music.times())
    music.go(SECOND)
    assert len(music.times()) == count > 40
    music.edit(going)
    music.go(SECOND)
    assert len(music.times()) == count + 49
    music.edit(silent)
    music.go(SECOND)
    assert len(music.times()) == count + 49


def test_a_stall_while_stopped_is_not_made_up_for() -> None:
    """After a stall the clock comes at its own time; none is owed while the song is stopped."""
    music = Music(rig(OWN))
    music.go(SECOND)
    count = len(music.times())
    music.now += 510 * MS
    music.take(music.router.tick(music.now))
    assert len(music.times()) == count + 1
    music.go(SECOND)
    found = music.times()[count + 1 :]
    assert gaps(found) == pytest.approx([period(120)] * (len(found) - 1), abs=1)
    assert music.router.state.sync.clock is not None
    assert music.router.state.sync.clock.skipped == 0


def test_a_source_goes_before_a_clock_that_only_idles() -> None:
    """A source that starts leads at once, and its first clock is the first of the song, however soon it comes; after
    its stop and silence our own clock goes on at its tempo, stopped at its place."""
    music = Music(rig(clock('["internal", "desk"]')))
    music.go(1000 * MS)
    music.start(DESK, 100)
    music.go(SECOND)
    assert music.source == "desk"
    heard = listening(music)
    assert heard.playing
    assert heard.place == len([at for at in music.times() if at > SECOND])
    music.end(DESK, b"\xfc")
    music.go(2 * SECOND)
    assert music.router.state.sync.clock_source(music.now) is None
    assert music.said() == ["FA", "FC"]
    assert gaps(music.times())[-20:] == pytest.approx([period(100)] * 20, rel=0.001)
    music.order("clock", "continue")
    music.go(100 * MS)
    assert music.said()[2:] == [f"F2 {(heard.place - 1) // 6:02X} 00", "FB"]


@pytest.mark.parametrize("edited", [False, True])
def test_our_clock_idles_on_after_a_source_without_a_tempo(edited: bool) -> None:
    """A source that falls silent, or is taken out of the rig, before its clocks had a tempo leaves our clock to go on
    at its own tempo, stopped."""
    music = Music(rig(clock('["desk", "internal"]')))
    music.go(SECOND)
    for message in (b"\xfa", CLOCK, CLOCK):
        music.play(DESK, message)
    assert music.source == "desk"
    if edited:
        music.edit(rig(clock('"internal"')))
    begin = music.now
    music.go(2 * SECOND)
    assert music.router.state.sync.clock_source(music.now) is None
    assert len(music.times(since=begin)) > 48
    assert gaps(music.times())[-48:] == pytest.approx([period(120)] * 48, abs=1)


def test_the_clock_is_silent_after_the_show() -> None:
    """A clock that idles ends with the show, without a stop that nobody needs."""
    music = Music(rig(OWN))
    music.go(SECOND)
    count = len(music.times())
    music.take(finish(music.router, music.now))
    music.go(SECOND)
    assert (len(music.times()), music.said()) == (count, [])


# Outputs


def test_only_those_named_get_start_and_stop() -> None:
    """`transport` names the outputs that get start, stop, continue and song position; all get the clocks."""
    music = Music(new(rig('[sync.clock]\nto = ["box", "lamp"]\ntransport = "lamp"\nrun = true\n')))
    music.go(SECOND)
    for what in ("stop", "continue"):
        music.order("clock", what)
        music.go(100 * MS)
    assert music.said(BOX) == []
    assert music.said(LAMP) == ["FA", "FC", "F2 07 00", "FB"]
    assert music.times(BOX) == music.times(LAMP)
    music.edit(new(rig('[sync.clock]\nto = ["box", "lamp"]\ntransport = []\nrun = true\n')))
    assert music.said(LAMP)[-1] == "FC"  # it will hear no other stop
    music.order("clock", "stop")
    assert music.said(LAMP).count("FC") == 2


@settings(max_examples=60)
@given(EVENINGS, st.integers(-100, 100), st.integers(-100, 100))
def test_an_offset_shifts_all_that_an_output_gets(evening: list[tuple[str, Any]], box: int, lamp: int) -> None:
    """Each output gets the same messages in the same order; their times differ by the difference of the offsets."""
    offsets = f'offset = {{ box = "{box} ms", lamp = "{lamp} ms" }}\n'
    plain, shifted = Music(rig(OWN)), Music(new(rig(OWN + offsets)))
    for music in (plain, shifted):
        perform(music, evening)
        music.go(200 * MS)
    earliest = min(box, lamp)
    for output, offset in ((BOX, box), (LAMP, lamp)):
        late = (offset - earliest) * MS
        expected = [(at + late, message) for at, message, _ in plain.heard(output) if at + late <= plain.now]
        assert [(at, message) for at, message, _ in shifted.heard(output)] == expected


def test_a_followed_clock_is_shifted_too() -> None:
    """Offsets hold for a clock that comes from an input, without a clock of our own."""
    music = Music(new(rig('[sync.clock]\nfrom = "desk"\nto = ["box", "lamp"]\noffset = { lamp = "-4.5 ms" }\n')))
    music.start(DESK, 120)
    music.go(SECOND)
    music.end(DESK, b"\xfc")
    music.go(SECOND)
    late, early = ([(at, message) for at, message, _ in music.heard(output)] for output in (BOX, LAMP))
    assert late == [(at + 9 * MS // 2, message) for at, message in early]
    assert len(early) == 50


def test_what_waits_at_the_end_of_the_show() -> None:
    """A stop that waits for its offset goes out when the show ends, and nothing after it."""
    music = Music(new(rig(OWN + 'run = true\noffset = { box = "50 ms" }\n')))
    music.go(SECOND)
    music.order("clock", "stop")
    music.order("clock", "start")
    music.take(finish(music.router, music.now))
    music.go(SECOND)
    assert music.said(BOX) == music.said(LAMP) == ["FA", "FC", "FA", "FC"]
    assert music.heard(BOX)[-1][1] == b"\xfc"


def test_a_flood_of_clocks_behind_an_offset() -> None:
    """A flood of clocks at an input costs no more than a thousand that wait; the oldest go early, and none is lost."""
    music = Music(new(rig('[sync.clock]\nfrom = "desk"\nto = "box"\noffset = { box = "0 ms" }\n')))
    edited = '[sync.clock]\nfrom = "desk"\nto = ["box", "lamp"]\noffset = { box = "100 ms" }\n'
    music.edit(new(rig(edited)))
    music.play(DESK, b"\xfa")
    for _ in range(5000):
        music.play(DESK, CLOCK)
    assert len(music.heard(BOX)) == 5001 - 1024
    music.go(SECOND)
    assert [message for _, message, _ in music.heard(BOX)] == [b"\xfa", *[CLOCK] * 5000]


def test_an_edit_moves_no_waiting_message_behind_a_newer_one() -> None:
    """When offsets are edited, what waits goes out at once, so that every output keeps the order."""
    music = Music(new(rig(OWN + 'run = true\noffset = { box = "60 ms" }\n')))
    music.order("clock", "stop")
    music.edit(new(rig(OWN)))
    music.order("clock", "start")
    music.go(100 * MS)
    assert music.said(BOX) == ["FA", "FC", "FA"]


def test_a_clock_that_follows_one_that_idles() -> None:
    """A standby's clock idles at the times of the one in charge (to the nanosecond of rounding), and does not run."""
    leader, follower = Music(rig(OWN)), Music(rig(OWN))
    leader.order("clock", "tempo", 97.3)
    for music in (leader, follower):
        music.go(333 * MS)
    own, other = leader.router.state.sync.clock, follower.router.state.sync.clock
    assert own is not None
    assert other is not None
    other.follow(follower.now, own.stand(leader.now))
    begin = leader.now
    for music in (leader, follower):
        music.go(SECOND)
    assert follower.times(since=begin) == pytest.approx(leader.times(since=begin), abs=1)
    assert (other.running, other.position) == (False, own.position)
