"""Scenes recalled by time code. (Our own design; label arithmetic by SMPTE ST 12-1 and RP-002 3.2.1.)"""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.answer_codes import AnswerCode
from engine.core.commands import Begin, ControlTimecode
from engine.core.timing.sync_commands import control
from engine.midi.timecode import RATES, Label, Rate, cue_place, full_frame, quarter_frames, read_label
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, engine_of, recall, sync
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

SECOND = 1000 * MS
SLATE = 0


def rig(places: list[str], settings: str = 'from = "slate"') -> str:
    """Scene 1 without a place; then, from scene 2 on, one scene for each place."""
    text = 'format = 1\n[inputs]\nslate = { port = "a" }\n[outputs]\nbox = { port = "b" }\nlamp = { port = "c" }\n'
    text += f"[sync.timecode]\n{settings}\n" + '[[scenes]]\nnumber = 1\nname = "Wait"\n'
    for number, place in enumerate(places, start=2):
        text += f'[[scenes]]\nnumber = {number}\nname = "Cue {number}"\nat = "{place}"\n'
    return text


class Cued(PlayedEngine):
    """A played engine whose input `slate` has a source of time code; `recalled`: the scenes of its cues, in order."""

    def __init__(self, places: list[str], rate: str = "25", settings: str = 'from = "slate"') -> None:
        super().__init__(rig(places, settings))
        self.rate: Rate = RATES[rate]

    @property
    def recalled(self) -> list[int]:
        return [each.scene[0] for each in self.router.reports.outcomes if each.source == "time code" and each.scene]

    def run(self, start: str, frames: int, reverse: bool = False, lost: frozenset[int] = frozenset()) -> None:
        """Quarter frames of this many frames up from a label with an even frame number, or down from it."""
        first = read_label(start, self.rate)
        numbers: Iterator[int] | range = range(-1, -4 * frames - 1, -1) if reverse else range(4 * frames)
        for heard, number in enumerate(numbers):
            group, piece = divmod(number, 8)
            self.wait(self.rate.nanoseconds(1))
            if heard not in lost:
                self.play(SLATE, quarter_frames(first.plus(2 * group))[piece])

    def locate(self, place: str) -> None:
        self.wait(600 * MS)  # the source stops first
        self.play(SLATE, full_frame(read_label(place, self.rate)))


def test_once_at_passing() -> None:
    """Each cue is recalled once, in order, when the code runs past it; the time code is reported as its source."""
    played = Cued(["00:00:10:00", "00:00:12:05"])
    played.run("00:00:08:00", 40)
    assert played.recalled == []
    played.run("00:00:09:14", 50)
    assert played.recalled == [2]
    played.run("00:00:11:14", 100)
    assert played.recalled == [2, 3]
    assert played.router.scene == (3, "Cue 3")


@pytest.mark.parametrize("rate", list(RATES))
def test_recalled_when_the_place_is_there(rate: str) -> None:
    """The cue is recalled as its frame begins, not a frame early, at every rate."""
    first = read_label("00:00:09:00", RATES[rate])
    frames = read_label("00:00:10:00", RATES[rate]).after(first)
    for run, expected in ((frames - 1, []), (frames + 1, [2])):
        played = Cued(["00:00:10:00"], rate)
        played.run("00:00:09:00", run)
        assert played.recalled == expected


def test_two_cues_at_one_place() -> None:
    """Two scenes at one place are recalled in the order of the rig, so that the later one is in force."""
    played = Cued(["00:00:10:00", "00:00:10:00"])
    played.run("00:00:09:00", 60)
    assert played.recalled == [2, 3]


def test_not_by_a_jump_forwards_or_back() -> None:
    """A jump over a place recalls nothing; the cue comes again when it is passed again after a locate back."""
    played = Cued(["00:00:10:00"])
    played.locate("00:00:20:00")
    played.locate("00:00:05:00")
    assert played.recalled == []
    played.run("00:00:09:00", 60)
    assert played.recalled == [2]
    played.locate("00:00:09:00")
    assert played.recalled == [2]
    played.run("00:00:09:00", 60)
    assert played.recalled == [2, 2]


def test_run_from_the_very_place() -> None:
    """After a locate to the place of a cue, the cue is recalled only when the code runs from there."""
    played = Cued(["00:00:10:00"])
    played.locate("00:00:10:00")
    assert played.recalled == []
    played.run("00:00:10:00", 20)
    assert played.recalled == [2]


@pytest.mark.parametrize("chase", ["true", "false"])
def test_an_edit_between_a_locate_and_the_run(chase: str) -> None:
    """If the rig is edited between the locate to a cue's place and the run from there, the cue is recalled once."""
    sync = f'from = "slate"\nchase = {chase}'
    played = Cued(["00:00:10:00"], settings=sync)
    played.locate("00:00:10:00")
    played.take(adopt(played.router, played.now, read(rig(["00:00:10:00", "00:20:00:00"], sync), "test")))
    played.run("00:00:10:00", 20)
    assert played.recalled == [2]


def test_reverse_play() -> None:
    """Played backwards past its place, a cue is not recalled; forwards again it is, once."""
    played = Cued(["00:00:10:00"])
    played.run("00:00:09:00", 60)
    played.run("00:00:11:10", 80, reverse=True)
    assert played.recalled == [2]
    played.run("00:00:08:06", 80)
    assert played.recalled == [2, 2]


@pytest.mark.parametrize("first", range(24))
@pytest.mark.parametrize("count", range(1, 8))
def test_lost_quarter_frames_and_corrections(first: int, count: int) -> None:
    """Quarter frames lost near the place, and the corrections after them, recall the cue exactly once."""
    played = Cued(["00:00:10:00"])
    start = 4 * 25 - 12 + first
    played.run("00:00:09:00", 60, lost=frozenset(range(start, start + count)))
    assert played.recalled == [2]


def test_places_that_do_not_exist() -> None:
    """At 29.97 drop a cue at 00:01:00:00 is recalled at 00:01:00;02 (RP-002 3.2.1), at 30 exactly where written."""
    played = Cued(["00:01:00:00"], "29.97 drop")
    played.run("00:00:59;20", 8)
    assert played.recalled == []
    played.run("00:00:59;28", 6)
    assert played.recalled == [2]
    played = Cued(["00:01:00:00"], "30")
    played.run("00:00:59:20", 20)
    assert played.recalled == [2]


def test_over_midnight() -> None:
    """A cue at 00:00:00:00 is recalled when the code runs past midnight."""
    played = Cued(["00:00:00:00"])
    played.run("23:59:59:00", 40)
    assert played.recalled == [2]


def test_chase() -> None:
    """With `chase` a locate recalls the scene in force there, and running on from there does not recall it again."""
    played = Cued(["00:00:10:00", "00:00:20:00"], settings='from = "slate"\nchase = true')
    played.locate("00:00:25:00")
    assert played.recalled == [3]
    played.locate("00:00:10:00")
    assert played.recalled == [3, 2]
    played.run("00:00:10:00", 60)
    assert played.recalled == [3, 2]
    played.locate("00:00:05:00")
    assert played.recalled == [3, 2]  # nothing is in force before the first place
    played.run("00:00:09:00", 60)
    assert played.recalled == [3, 2, 2]


def test_chase_over_lost_quarter_frames() -> None:
    """With `chase` lost quarter frames do not count as a locate: nothing is recalled again."""
    played = Cued(["00:00:09:00"], settings='from = "slate"\nchase = true')
    played.locate("00:00:09:00")
    played.run("00:00:09:00", 60, lost=frozenset(range(60, 67)))
    assert played.recalled == [2]


def test_our_own_time_code() -> None:
    """Cues follow our own time code in the same way: from its start and over a stop, but not over a locate."""
    played = Cued(["01:00:00:00", "01:00:02:00"], settings='start = "01:00:00:00"\nto = "box"')
    tell(played, "start", None)
    played.wait(SECOND)
    assert played.recalled == [2]
    tell(played, "stop", None)
    played.wait(SECOND)
    tell(played, "start", None)
    played.wait(1100 * MS)
    assert played.recalled == [2, 3]
    tell(played, "locate", "01:00:01:00")
    assert played.recalled == [2, 3]
    played.wait(1100 * MS)
    assert played.recalled == [2, 3, 3]


def tell(played: PlayedEngine, what: str, value: str | None) -> None:
    outcome, out = sync(played.router, played.now, "timecode", what, value)
    played.take(out)
    assert outcome.done


def test_a_stall_passes_what_it_missed() -> None:
    """If our own time code stalls over a cue, the cue is recalled all the same."""
    played = Cued(["00:00:02:00"], settings='to = "box"')
    tell(played, "start", None)
    played.wait(SECOND)
    played.now += 3 * SECOND
    played.take(played.router.tick(played.now))
    assert played.recalled == [2]


@given(st.integers(0, 2_000_000), st.integers(1, 400))
@settings(max_examples=40)
def test_any_run_recalls_what_lies_in_it(first: int, frames: int) -> None:
    """A run from any even frame recalls each cue inside it once, and no other."""
    label = Label(RATES["24"], first - first % 2)
    played = Cued([str(label.plus(frames // 2)), str(label.plus(-1)), str(label.plus(frames + 10))], "24")
    played.locate(str(label))
    played.run(str(label), frames)
    assert played.recalled == [2]


def test_the_command_says_what_is_wrong() -> None:
    """A place that is not a valid label is refused with what is allowed."""
    played = Cued([], settings='to = "box"')
    code, text, sent = control(played.router.state.sync, 0, ControlTimecode("locate", "00:00:00:25"))
    assert (code, sent) == (AnswerCode.BAD_REQUEST, [])
    assert "25 frames" in text or "frames to 24" in text


@pytest.mark.parametrize(("rate", "shown"), [("24", "00:00:10:23"), ("25", "00:00:10:24"), ("30", "00:00:10:29")])
def test_a_frame_that_the_rate_has_not_is_its_last(rate: str, shown: str) -> None:
    """A cue may name any frame of the fastest rate; if a second has fewer, the last one is meant (our own reading)."""
    assert str(cue_place("00:00:10:29", RATES[rate])) == shown


@pytest.mark.parametrize("late", [0, 39, 41, 200, 500])
def test_a_cue_where_the_code_begins_is_not_missed(late: int) -> None:
    """A scene at the place where our own time code starts is recalled, however late the engine's first tick."""
    router = engine_of(read(rig(["01:00:00:00", "01:00:00:12"], 'start = "01:00:00:00"\nrun = true'), "test"))
    recall(router, 0, 1)
    router.apply(0, Begin())
    router.tick(late * MS)
    assert [each.scene[0] for each in router.reports.outcomes if each.scene] == ([2] if late < 500 else [2, 3])
    router.tick(600 * MS)
    assert [each.scene[0] for each in router.reports.outcomes if each.scene] == [2, 3]
