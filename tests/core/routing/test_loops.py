"""Feedback is found and muted; anything that only looks like it is left alone. Common practice, no source."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.commands import MessagesWait
from engine.core.engine import Engine
from engine.core.routing.loops import QUESTION
from tests.support.engine_calls import apply, command, input_lost, output_there, recall
from tests.support.feedback_cables import Cable, FeedbackCables
from tests.support.pit_engine import MS, engine, hexed
from tests.support.random_rigs import played

STRINGS, BRASS = 0, 1
KEYS, PADS, FOOT = 0, 1, 2
ON, OFF = b"\x90\x3c\x40", b"\x80\x3c\x40"

STRAIGHT = '{ from = "keys", to = "strings" }'
FOLD = '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 7, outside = "fold" } ] }'
CROSS = f'{STRAIGHT}, {{ from = "pads", to = "brass" }}'
LAYER = '{ from = "keys", to = ["strings", "brass"] }'
LAYER_BRASS_FIRST = '{ from = "keys", to = ["brass", "strings"] }'
ALL_TO_ALL = '{ from = ["keys", "pads"], to = ["strings", "brass"] }'

ONE_CABLE = ((STRINGS, KEYS),)
TWO_CABLES = ((STRINGS, PADS), (BRASS, KEYS))

DELAYS = [(0.3,), (1,), (3,), (10,), (20,), (4, 6), (10, 20)]


def routed(routes: str, cable: str = "fast") -> Engine:
    """Two scenes with the same routes."""
    return engine(
        "".join(f'[[scenes]]\nnumber = {n}\nname = "S{n}"\nroutes = [ {routes} ]\n' for n in (1, 2)),
        cable,
    )


def looped(
    routes: str, cables: tuple[tuple[int, int], ...], delays: tuple[float, ...], cable: str = "fast"
) -> FeedbackCables:
    return FeedbackCables(routed(routes, cable), [Cable(output, source, delays) for output, source in cables])


def assert_quiet_from_now_on(made: FeedbackCables) -> None:
    """Nothing goes round any longer."""
    made.run(made.now / MS + 100)
    before = [len(made.messages(output)) for output in (STRINGS, BRASS)]
    made.run(made.now / MS + 1000)
    assert [len(made.messages(output)) for output in (STRINGS, BRASS)] == before


@pytest.mark.parametrize(("after", "proves"), [(1_900, True), (2_100, False)])
def test_an_answer_counts_for_two_seconds(after: int, proves: bool) -> None:
    """A question that comes back up to two seconds later still proves the loop; after that it is passed over."""
    made = looped(STRAIGHT, ONE_CABLE, (10,))
    made.play(KEYS, ON)
    questions: list[bytes] = []
    while not questions:
        made.run(made.now / MS + 1)
        questions = [message for _, message in made.heard[STRINGS] if message.startswith(QUESTION)]
    made.coming.clear()
    made.cables[0].plugged = False
    made.run(made.now / MS + after)
    made.play(KEYS, questions[0])
    assert made.router.state.loops.muted == ({(KEYS, STRINGS)} if proves else set())


def test_what_a_muted_connection_does_not_carry_is_counted() -> None:
    """Each delivery that was left out counts, for `status`; what other outputs get does not."""
    made = looped('{ from = "keys", to = ["strings", "brass"] }', ONE_CABLE, (1,))
    made.play(KEYS, ON)
    made.run(1000)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    before = made.router.state.loops.dropped
    for _ in range(3):
        made.play(KEYS, b"\xb0\x07\x40")
    assert made.router.state.loops.dropped == before + 3
    assert made.messages(BRASS).count(b"\xb0\x07\x40") == 3


@pytest.mark.parametrize("delays", DELAYS)
@pytest.mark.parametrize("cable", ["fast", "din"])
@pytest.mark.parametrize(
    "message", [ON, b"\xb0\x01\x40", b"\xe0\x00\x50", b"\xc0\x05", b"\xf0\x7d\x01\xf7"], ids=lambda m: m.hex()
)
def test_one_cable(message: bytes, cable: str, delays: tuple[float, ...]) -> None:
    """An output connected back to the input that feeds it is found within a tenth of a second, reported once, and
    muted; the message has gone round about a dozen times, and nothing sounds or is off rest afterwards."""
    made = looped(STRAIGHT, ONE_CABLE, delays, cable)
    made.play(KEYS, message)
    made.run(100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert len(made.found) == 1
    _, port, sentence = made.found[0]
    assert port == "keys"
    assert '"strings"' in sentence
    assert "muted" in sentence
    assert_quiet_from_now_on(made)
    assert made.messages(STRINGS).count(message) <= 20
    made.play(KEYS, OFF)
    made.run(made.now / MS + 100)
    assert (made.ears()[STRINGS].held, made.ears()[STRINGS].off_rest) == (0, set())
    assert len(made.found) == 1


@pytest.mark.parametrize("delays", [(1,), (3,), (10,), (4, 6)])
def test_two_cables(delays: tuple[float, ...]) -> None:
    """With two outputs connected to each other's inputs, the ring through both routes is found within a tenth of a
    second; one of its paths is muted, and that is enough."""
    made = looped(CROSS, TWO_CABLES, delays)
    made.play(KEYS, ON)
    made.run(100)
    assert len(made.router.state.loops.muted) == 1
    assert made.router.state.loops.muted <= {(KEYS, STRINGS), (PADS, BRASS)}
    assert_quiet_from_now_on(made)
    made.play(KEYS, OFF)
    made.run(made.now / MS + 100)
    assert [synth.held for synth in made.ears()] == [0, 0]
    assert len(made.found) == 1


def test_two_long_cables() -> None:
    """A ring of two paths of 20 ms each, which takes 40 ms to go round, is found within two tenths of a second."""
    made = looped(CROSS, TWO_CABLES, (20,))
    made.play(KEYS, ON)
    made.run(200)
    assert len(made.router.state.loops.muted) == 1
    assert_quiet_from_now_on(made)


@pytest.mark.parametrize("delay", [1, 3, 10, 20])
@pytest.mark.parametrize("burst", [40, 200, 1600])
@pytest.mark.parametrize("notes", [True, False], ids=["notes", "controllers"])
def test_a_loop_that_fills_its_cable(notes: bool, burst: int, delay: float) -> None:
    """Where more goes round than a DIN cable carries in 30 ms, each round waits for the cable: the loop is found within
    a second, and nothing goes round any longer."""
    made = looped(STRAIGHT, ONE_CABLE, (delay,), "din")
    for number in range(burst):
        note = bytes((0x80 if number % 2 else 0x90, 20 + number // 2 % 100, 60))
        made.plan(number * 0.2, KEYS, note if notes else bytes((0xB0, 1 + number % 60, number // 60)))
    made.run(1000)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    made.run(3000)
    assert_quiet_from_now_on(made)
    assert made.ears()[STRINGS].held == 0


@pytest.mark.parametrize("delay", [3, 10, 20])
@pytest.mark.parametrize(("each", "gap", "within"), [(0.3, 1, 300), (0.3, 3.3, 600), (1, 3.3, 600), (3, 3.3, 3000)])
def test_a_loop_that_keeps_the_computer_busy(each: float, gap: float, within: int, delay: float) -> None:
    """Where more goes round than the computer routes (at `each` ms a message), each round waits for it. The loop is
    found all the same, and as many notes end as begin."""
    made = looped(STRAIGHT, ONE_CABLE, (delay,))
    made.each = int(each * MS)
    for number in range(600):
        made.plan(number * gap, KEYS, bytes((0x80 if number % 2 else 0x90, 30 + number // 2 * 7 % 60, 60)))
    made.run(within)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    made.run(10_000)
    assert_quiet_from_now_on(made)
    assert made.ears()[STRINGS].held == 0


@pytest.mark.parametrize(("every", "wait", "found"), [(10, 40, True), (10, 8, False), (150, 40, False)])
def test_the_time_of_a_round_grows_only_by_the_wait_that_lasts(every: int, wait: int, found: bool) -> None:
    """A round of 50 ms counts as a loop while messages go on waiting for 40 ms. It does not if they wait for less, nor
    after a moment's wait now and then."""
    made = looped(STRAIGHT, ONE_CABLE, (50,))
    made.play(KEYS, ON)
    for at in range(0, 2000, every):
        made.run(at)
        apply(made.router, made.now, MessagesWait(wait * MS))
    assert bool(made.router.state.loops.muted) == found


@pytest.mark.parametrize(("delay", "found"), [(29, True), (31, False), (45, False), (100, False)])
def test_a_cable_of_more_than_30_ms_is_not_noticed(delay: float, found: bool) -> None:
    """What comes back later is taken for playing, as the handbook says: nothing is muted in five seconds."""
    made = looped(STRAIGHT, ONE_CABLE, (delay,))
    made.play(KEYS, ON)
    made.run(5000)
    assert bool(made.router.state.loops.muted) == found
    assert found or made.messages(STRINGS).count(ON) > 5000 / delay - 2


@pytest.mark.parametrize("delays", DELAYS)
@pytest.mark.parametrize("routes", [LAYER, LAYER_BRASS_FIRST])
def test_a_loop_beside_a_layer(routes: str, delays: tuple[float, ...]) -> None:
    """Keys play strings and brass, and only the strings loop back: the path to the strings is muted within a tenth of a
    second, and the brass plays on."""
    made = looped(routes, ONE_CABLE, delays)
    made.play(KEYS, ON)
    made.run(100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    made.run(200)
    made.play(KEYS, OFF)
    strings = len(made.messages(STRINGS))
    made.play(KEYS, b"\x90\x40\x50")
    made.play(KEYS, b"\x80\x40\x50")
    made.run(400)
    assert made.messages(BRASS)[-2:] == [b"\x90\x40\x50", b"\x80\x40\x50"]
    assert len(made.messages(STRINGS)) == strings
    assert [synth.held for synth in made.ears()] == [0, 0]


@pytest.mark.parametrize("delays", [(1,), (3,), (10,), (20,)])
@pytest.mark.parametrize(
    ("routes", "cables"),
    [
        (LAYER, ((STRINGS, KEYS), (BRASS, KEYS))),
        (ALL_TO_ALL, ((STRINGS, KEYS), (BRASS, PADS))),
        (ALL_TO_ALL, TWO_CABLES),
        (ALL_TO_ALL, ONE_CABLE),
        (ALL_TO_ALL, ((STRINGS, KEYS), (STRINGS, PADS))),
    ],
    ids=["both back", "all to all", "crosswise", "one back", "one to both"],
)
def test_loops_that_multiply(routes: str, cables: tuple[tuple[int, int], ...], delays: tuple[float, ...]) -> None:
    """Where each round makes two messages of one, all paths that feed the loop are muted before it grows out of hand;
    nothing hangs, and it is silent after a second at the latest."""
    made = looped(routes, cables, delays)
    made.play(KEYS, ON)
    made.run(1000)
    assert made.router.state.loops.muted
    assert sum(len(made.messages(output)) for output in (STRINGS, BRASS)) < (3_600 if delays[0] > 1 else 100_000)
    assert_quiet_from_now_on(made)
    made.play(KEYS, OFF)
    made.run(made.now / MS + 1500)
    assert [synth.held for synth in made.ears()] == [0, 0]


@pytest.mark.parametrize("delays", DELAYS)
def test_an_echo_that_climbs(delays: tuple[float, ...]) -> None:
    """A route that transposes and folds plays another key at each round; the loop is found anyway, and no key hangs."""
    made = looped(FOLD, ONE_CABLE, delays)
    made.play(KEYS, ON)
    made.run(100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert_quiet_from_now_on(made)
    made.play(KEYS, OFF)
    made.run(made.now / MS + 100)
    assert made.ears()[STRINGS].held == 0


@pytest.mark.parametrize("delay", [1, 3])
@pytest.mark.parametrize("bpm", [100, 120, 140])
def test_a_beat_clock_that_goes_round(bpm: int, delay: float) -> None:
    """A beat clock (24 per quarter note) that comes back is found within a tenth of a second, though it goes on."""
    made = looped(STRAIGHT, ONE_CABLE, (delay,))
    for tick in range(100):
        made.plan(tick * 60_000 / bpm / 24, KEYS, b"\xf8")
    made.run(100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert_quiet_from_now_on(made)


@pytest.mark.parametrize("delays", DELAYS)
@pytest.mark.parametrize("released", range(0, 120, 7))
def test_a_key_let_go_of_during_a_loop(released: int, delays: tuple[float, ...]) -> None:
    """A key held before the cable was plugged in, and released at any moment of the trial, does not hang; nor does a
    chord played then, or a pedal."""
    made = looped(LAYER, ONE_CABLE, delays)
    made.cables[0].plugged = False
    made.play(KEYS, b"\x90\x30\x40")
    made.play(KEYS, b"\xb0\x40\x7f")
    made.run(50)
    made.cables[0].plugged = True
    made.play(KEYS, ON)
    made.plan(50 + released, KEYS, b"\x80\x30\x40")
    made.plan(50 + released, KEYS, b"\xb0\x40\x00")
    for key in range(3):
        made.plan(50 + released / 2 + key, KEYS, bytes((0x90, 70 + key, 64)))
        made.plan(60 + released + key, KEYS, bytes((0x80, 70 + key, 64)))
    made.plan(250, KEYS, OFF)
    made.run(2500)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert [synth.held for synth in made.ears()] == [0, 0]
    assert [synth.off_rest for synth in made.ears()] == [set(), set()]


@pytest.mark.parametrize("delays", DELAYS)
@pytest.mark.parametrize("other", ["nowhere", "elsewhere"])
def test_a_loop_beside_an_input_that_leads_elsewhere(other: str, delays: tuple[float, ...]) -> None:
    """If the same output also leads to an unrouted input, or transposed to another output, the loop is found just as
    soon."""
    up = ', { from = "foot", to = "brass", through = [ { filter = "transpose", semitones = 5 } ] }'
    made = looped(STRAIGHT + up * (other == "elsewhere"), ((STRINGS, FOOT), (STRINGS, KEYS), (STRINGS, FOOT)), delays)
    made.play(KEYS, ON)
    made.run(100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert_quiet_from_now_on(made)


def test_another_player_of_the_muted_output_plays_on() -> None:
    """While the keys' path to the strings is muted, the pads' notes there sound and end, even on a key that the keys
    hold, and a pedal whose release is lost to the mute comes to rest at the next scene."""
    made = FeedbackCables(
        routed(f'{STRAIGHT}, {{ from = "pads", to = "strings" }}'),
        [Cable(STRINGS, KEYS, (3,))],
    )
    made.play(KEYS, ON)
    made.run(200)
    made.cables.clear()  # unplugged, which the engine cannot see: the path stays muted
    assert (KEYS, STRINGS) in made.router.state.loops.muted
    before = len(made.messages(STRINGS))
    for source, message in ((KEYS, ON), (PADS, ON), (PADS, OFF), (KEYS, OFF)):
        made.play(source, message)
    assert made.messages(STRINGS)[before:] == [ON, OFF]
    made.play(PADS, b"\xb0\x40\x7f")
    made.play(KEYS, b"\xb0\x40\x00")
    made.cables.clear()
    assert hexed(input_lost(made.router, made.now, PADS)) == ["B0 40 00"]


@pytest.mark.parametrize("lifted", ["scene", "input", "output"])
def test_a_mute_is_lifted_and_the_loop_is_found_again(lifted: str) -> None:
    """A scene change, or a cable plugged in again, lifts the mute; while the loop is there it is found again."""
    made = looped(STRAIGHT, ONE_CABLE, (3,))
    made.play(KEYS, ON)
    made.run(300)
    if lifted == "scene":
        made.take(recall(made.router, made.now, 2))
    elif lifted == "input":
        made.take(input_lost(made.router, made.now, KEYS))
    else:
        made.take(output_there(made.router, made.now, STRINGS, None))
    assert not made.router.state.loops.muted
    made.run(1600)
    made.play(KEYS, ON)
    made.run(1700)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    assert_quiet_from_now_on(made)


def test_a_cable_that_was_pulled_is_free_after_the_scene_changed() -> None:
    """Once the cable is gone and the scene has changed, everything gets through again."""
    made = looped(STRAIGHT, ONE_CABLE, (3,))
    made.play(KEYS, ON)
    made.run(300)
    made.cables.clear()
    made.take(recall(made.router, made.now, 2))
    before = len(made.messages(STRINGS))
    made.play(KEYS, b"\x90\x40\x40")
    made.play(KEYS, b"\x80\x40\x40")
    assert made.messages(STRINGS)[before:] == [b"\x90\x40\x40", b"\x80\x40\x40"]


def test_the_same_scene_again_lifts_nothing() -> None:
    """Recalling the scene in force sends its burst and leaves the loop muted."""
    made = looped(STRAIGHT, ONE_CABLE, (3,))
    made.play(KEYS, ON)
    made.run(300)
    made.take(recall(made.router, made.now, 1))
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}


# A loop after something that only looked like one

#: repeats itself as a loop would, for 600 messages: milliseconds from the start, message
INNOCENT: dict[str, list[tuple[float, bytes]]] = {
    "a fast roll": [(at * 8, ON) for at in range(600)],
    "hits and releases": [(at * 5, ON if at % 2 == 0 else OFF) for at in range(600)],
    "a trembling fader": [(at * 7, bytes((0xB0, 7, 63 + at % 2))) for at in range(600)],
    "a roll with rests": [(at * 10 + at // 20 * 50, ON) for at in range(600)],
    "a flood": [(at / 30, b"\xb0\x01\x40") for at in range(600)],
}


@pytest.mark.parametrize("goes_on", [False, True], ids=["then a hit", "then hits"])
@pytest.mark.parametrize("delays", DELAYS)
@pytest.mark.parametrize("innocent", INNOCENT)
def test_a_loop_after_innocent_repetition(innocent: str, delays: tuple[float, ...], goes_on: bool) -> None:
    """However long something else looked like a loop, and even if the loop goes on with its very messages in its very
    rhythm, with or without the player, the loop is found within a tenth of a second."""
    played_before = INNOCENT[innocent]
    for rest in (0.0, played_before[-1][0] - played_before[-2][0], 500.0):
        made = looped(STRAIGHT, ONE_CABLE, delays)
        made.cables[0].plugged = False
        for at, message in played_before:
            made.plan(at, KEYS, message)
        begins = played_before[-1][0] + rest
        made.run(begins)
        assert made.found == []
        made.cables[0].plugged = True
        for hit in range(1 + 8 * goes_on):
            made.plan(begins + hit * 8, KEYS, ON)
        made.run(begins + 100)
        assert made.router.state.loops.muted == {(KEYS, STRINGS)}
        assert_quiet_from_now_on(made)


@pytest.mark.parametrize("apart", [0, 1.5])
@pytest.mark.parametrize("delays", DELAYS)
def test_a_loop_beside_innocent_repetition(delays: tuple[float, ...], apart: float) -> None:
    """While the pads repeat themselves for ever, faster than any loop, a loop of the keys is found as early as ever,
    and the pads play on."""
    made = looped(CROSS, ONE_CABLE, delays)
    hits = [at * 4 for at in range(400)]
    for at in hits:
        made.plan(at, PADS, ON)
    made.plan(apart + 1000, KEYS, ON)
    made.run(apart + 1100)
    assert made.router.state.loops.muted == {(KEYS, STRINGS)}
    made.run(2000)
    assert made.messages(BRASS) == [ON] * len(hits)


@pytest.mark.parametrize("gap", [4, 8, 20, 25])
def test_the_questions_of_a_long_roll_are_few_and_delay_no_hit(gap: int) -> None:
    """A roll of ten seconds brings no more than one question in 60 ms, eight bytes each, and on a DIN cable each hit
    but the first that is asked about goes out when it comes."""
    made = looped(STRAIGHT, (), (), "din")
    hits = range(0, 10_000, gap)
    for at in hits:
        made.plan(at, KEYS, ON)
    made.run(10_100)
    questions = [message for _, message in made.heard[STRINGS] if message.startswith(QUESTION)]
    assert 100 < len(questions) <= 10_000 / 60 + 1
    assert {len(question) for question in questions} == {8}
    late = [at for at, message in made.heard[STRINGS] if message == ON and at % (gap * MS)]
    assert len(late) <= 1


def asked(made: FeedbackCables) -> list[int]:
    """When questions have gone to the strings (ns)."""
    return [at for at, message in made.heard.get(STRINGS, ()) if message.startswith(QUESTION)]


def roll_until_asked(made: FeedbackCables) -> bool:
    """A roll until a question goes out; whether that went behind the hit that raised it."""
    before = len(asked(made))
    while len(asked(made)) == before:
        made.run(made.now / MS + 8)
        made.play(KEYS, ON)
        made.run(made.now / MS)
    return made.heard[STRINGS][-1][1].startswith(QUESTION)


@pytest.mark.parametrize("pause", range(0, 140, 10))
def test_a_question_goes_behind_the_hit_within_120_ms_of_the_last(pause: int) -> None:
    """The first question goes before the hit that raises it, since an answer mutes the sooner; while a roll goes on,
    the hit goes first."""
    made = looped(STRAIGHT, (), ())
    assert not roll_until_asked(made)
    made.run(made.now / MS + pause)
    behind = roll_until_asked(made)
    first, second = asked(made)
    assert behind == (second - first < 120 * MS)


def test_a_fast_repetition_is_asked_about_when_it_is_almost_all_that_comes() -> None:
    """After a rest, 19 of 20 messages must be rounds of one; a longer row of them has been heard in less time."""
    made = looped(STRAIGHT, (), ())
    for hit in range(20):
        assert asked(made) == []
        made.run(hit)
        made.play(KEYS, ON)
    assert len(asked(made)) == 1


def test_what_comes_again_out_of_step_is_no_round() -> None:
    """A fast roll beside a fader that trembles out of step looks no more like a loop than half of it does: for two
    windows nothing is asked."""
    made = looped(STRAIGHT, (), ())
    made.plan(0, KEYS, b"\xb0\x14\x01")
    for at in range(58):
        made.plan(at, KEYS, ON)
    for at in range(0, 58, 6):
        made.plan(at + 0.5, KEYS, b"\xb0\x01\x40")
        made.plan(at + 1.5, KEYS, b"\xb0\x01\x40")
    made.run(58)
    assert asked(made) == []


# What is not a loop


def assert_all_delivered(made: FeedbackCables, sent: list[bytes], outputs: tuple[int, ...] = (STRINGS,)) -> None:
    """No path is muted and no loop is reported; each output gets all of the stream, in order."""
    made.run(made.now / MS + 2000)
    assert not made.router.state.loops.muted
    assert made.found == []
    for output in outputs:
        assert made.messages(output) == sent


@pytest.mark.parametrize("routes", [STRAIGHT, LAYER])
@pytest.mark.parametrize("gap", [8, 15, 25, 40])
def test_a_fast_hi_hat_is_no_loop(gap: int, routes: str) -> None:
    """Identical hits for three seconds are all delivered, in order."""
    made = looped(routes, (), ())
    sent = []
    for at in range(0, 3000, gap):
        for message, later in ((b"\x99\x2a\x60", 0), (b"\x89\x2a\x40", gap / 2)):
            made.plan(at + later, KEYS, message)
            sent.append(message)
    made.run(3000)
    assert_all_delivered(made, sent, (STRINGS, BRASS) if routes == LAYER else (STRINGS,))


@pytest.mark.parametrize("routes", [STRAIGHT, LAYER])
@pytest.mark.parametrize("gap", [1, 3, 8, 15, 20, 25])
@pytest.mark.parametrize("hits", range(2, 13))
def test_a_short_roll_is_no_loop(hits: int, gap: int, routes: str) -> None:
    """A roll of a few hits that stops, and then its last hit alone, arrive whole and in order."""
    made = looped(routes, (), ())
    sent = []
    for hit in range(hits):
        for message, later in ((b"\x99\x2a\x60", 0), (b"\x89\x2a\x40", gap / 2)):
            made.plan(hit * gap + later, KEYS, message)
            sent.append(message)
    made.plan(hits * gap + 400, KEYS, b"\x99\x2a\x60")
    made.run(hits * gap + 400)
    assert_all_delivered(made, [*sent, b"\x99\x2a\x60"], (STRINGS, BRASS) if routes == LAYER else (STRINGS,))


@pytest.mark.parametrize("gap", [8, 15, 20, 25])
@pytest.mark.parametrize("pattern", ["xxx-x", "xxxx-", "xxx--", "xx-", "xxxxx-xx---", "xxx---x", "xxxxxxxxx-x-"])
def test_a_rhythm_with_rests_is_no_loop(pattern: str, gap: int) -> None:
    """Identical hits on a fast grid with rests in it, for three seconds."""
    made = looped(STRAIGHT, (), ())
    sent = []
    for place in range(3000 // gap):
        if pattern[place % len(pattern)] == "x":
            made.plan(place * gap, KEYS, b"\x99\x2a\x60")
            sent.append(b"\x99\x2a\x60")
    made.run(3000)
    assert_all_delivered(made, sent)


@pytest.mark.parametrize("bpm", [120, 300, 480])
def test_a_beat_clock_is_no_loop(bpm: int) -> None:
    """24 clocks per quarter note (MIDI 1.0 p. 30), all alike, are all delivered, and each at once."""
    made = looped(LAYER, (), ())
    for tick in range(bpm * 24 * 3 // 60):
        made.plan(tick * 60_000 / bpm / 24, KEYS, b"\xf8")
    made.run(3000)
    assert_all_delivered(made, [b"\xf8"] * (bpm * 24 * 3 // 60), (STRINGS, BRASS))
    assert [at for at, _ in made.heard[STRINGS]] == [
        int(tick * 60_000 / bpm / 24 * MS) for tick in range(bpm * 24 * 3 // 60)
    ]


@pytest.mark.parametrize("routes", [STRAIGHT, LAYER])
@pytest.mark.parametrize("gap", [1, 7, 14])
def test_a_trembling_fader_is_no_loop(gap: int, routes: str) -> None:
    """A fader that trembles between two values sends the same two messages for ever."""
    made = looped(routes, (), ())
    sent = [bytes((0xB0, 7, 63 + place % 2)) for place in range(3000 // gap)]
    for place, message in enumerate(sent):
        made.plan(place * gap, KEYS, message)
    made.run(3000)
    assert_all_delivered(made, sent)


@pytest.mark.parametrize("delay", [1, 3, 10, 20])
@pytest.mark.parametrize("routes", [STRAIGHT, f'{STRAIGHT}, {{ from = "foot", to = "brass" }}'])
def test_an_echo_to_an_input_that_leads_elsewhere_is_no_loop(routes: str, delay: float) -> None:
    """A keyboard that sends back out what it receives, to an input that does not lead back to it."""
    made = FeedbackCables(routed(routes), [Cable(STRINGS, FOOT, (delay,))])
    sent = []
    for at in range(0, 3000, 30):
        for message, later in ((ON, 0), (OFF, 15)):
            made.plan(at + later, KEYS, message)
            sent.append(message)
    made.run(3100)
    assert_all_delivered(made, sent, (STRINGS, BRASS) if "foot" in routes else (STRINGS,))


def test_a_keyboard_on_two_cables_is_no_loop() -> None:
    """The same keyboard arrives twice, over USB and over its DIN cable two milliseconds later."""
    made = looped('{ from = ["keys", "pads"], to = "strings" }', (), ())
    for at in range(0, 3000, 25):
        for source, later in ((KEYS, 0), (PADS, 2)):
            made.plan(at + later, source, ON)
            made.plan(at + later + 10, source, OFF)
    made.run(3000)
    made.run(5000)
    assert not made.router.state.loops.muted
    assert made.messages(STRINGS).count(ON) == 240
    assert made.ears()[STRINGS].held == 0


@pytest.mark.parametrize("routes", [STRAIGHT, LAYER])
def test_a_flood_of_one_message_is_no_loop(routes: str) -> None:
    """3,000 identical messages in a tenth of a second, as a broken device sends them, are all delivered."""
    made = looped(routes, (), ())
    for place in range(3000):
        made.plan(place / 30, KEYS, b"\xb0\x01\x40")
    made.run(100)
    assert_all_delivered(made, [b"\xb0\x01\x40"] * 3000)


few = st.sampled_from([ON, OFF, b"\xb0\x01\x40", b"\xb0\x01\x41", b"\xf8"])


@given(
    st.lists(
        st.tuples(st.sampled_from([0, 1, 2, 5, 7, 11, 20, 45]), st.integers(0, 1), st.one_of(few, few, played)),
        max_size=80,
    )
)
@settings(max_examples=200)
def test_no_stream_alone_is_a_loop(stream: list[tuple[int, int, bytes]]) -> None:
    """Without a looped cable, no stream of any messages at any times is muted or loses a message."""
    made = looped('{ from = "keys", to = "strings" }, { from = "pads", to = "brass" }', (), ())
    at = 0
    sent: list[list[bytes]] = [[], []]
    for wait, source, message in stream:
        at += wait
        made.plan(at, source, message)
        sent[source].append(message)
    made.run(at)
    made.run(at + 500)
    assert not made.router.state.loops.muted
    assert made.messages(STRINGS) == sent[0]
    assert made.messages(BRASS) == sent[1]


@given(
    st.sampled_from([STRAIGHT, LAYER, FOLD, CROSS, ALL_TO_ALL]),
    st.lists(
        st.tuples(st.sampled_from([ONE_CABLE[0], *TWO_CABLES]), st.sampled_from([3, 10, 20])),
        max_size=2,
        unique_by=lambda cable: cable[0],
    ),
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 1), st.integers(60, 64), st.integers(1, 200)), max_size=8),
    st.sampled_from(["panic", "scene", "lose", "nothing"]),
    st.integers(0, 300),
)
@settings(max_examples=100)
def test_nothing_hangs_whatever_is_wired(
    routes: str, cables: list[Any], notes: list[tuple[int, int, int, int]], what: str, when: int
) -> None:
    """Any keys over any cables, with a panic, a scene change or a lost input at any moment of the trials: when all keys
    are up and the cables are pulled, nothing sounds."""
    made = FeedbackCables(routed(routes), [Cable(output, source, (delay,)) for (output, source), delay in cables])
    at = 0
    for wait, source, key, length in notes:
        at += wait
        made.plan(at, source, bytes((0x90, key, 64)))
        made.plan(at + length, source, bytes((0x80, key, 64)))
    made.run(when)
    if what == "panic":
        made.take(command(made.router, made.now, "panic", None, "test")[1])
    elif what == "scene":
        made.take(recall(made.router, made.now, 2))
    elif what == "lose":
        made.take(input_lost(made.router, made.now, KEYS))
    made.run(max(when, at + 201) + 1500)
    made.cables.clear()
    made.coming.clear()
    made.run(made.now / MS + 500)
    for source in (KEYS, PADS):  # notes that were still going round when the cables were pulled are released
        made.take(input_lost(made.router, made.now, source))
    assert [synth.held for synth in made.ears()] == [0, 0]
    assert made.router.state.ledger.sounding() == 0
