"""Messages that filters send later: when they are sent, what replaces them, and what ends them."""

from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import filters.transpose
from engine.core.engine import Engine
from engine.core.routing.delayed_messages import DelayedMessages
from engine.core.routing.explain import explain
from engine.core.routing.routed_message import TimedMessage
from engine.rig.read.load import read
from filters.registry import Later, registry
from tests.support.engine_calls import adopt, engine_of, finish, input_lost, output_left, recall, wake_up
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import HEAD, STATEFUL, STATELESS, events, rigs
from tests.support.simulated_instrument import BYTE_NS

ECHO = '{ filter = "echo", milliseconds = 100, repeats = 2, fade = 50 }'
THIN = '{ filter = "thin", milliseconds = 20 }'
BRASS = 1  # the output that is not paced


def rig(own: str = "", everywhere: str = "", to: str = '"brass"') -> str:
    """The keys through a chain, in the first scene or in routes in force in every scene; the second scene is empty."""
    text = HEAD
    if everywhere:
        text += f'[[routes]]\nfrom = ["keys", "pads"]\nto = {to}\nthrough = [ {everywhere} ]\n'
    routes = f'routes = [ {{ from = ["keys", "pads"], to = {to}, through = [ {own} ] }} ]\n' if own else ""
    return text + f'[[scenes]]\nnumber = 1\nname = "A"\n{routes}[[scenes]]\nnumber = 2\nname = "B"\n'


def played(performed: PlayedEngine, *messages: str, source: int = 0) -> None:
    for message in messages:
        performed.play(source, bytes.fromhex(message))


def heard(performed: PlayedEngine, output: int = BRASS) -> list[tuple[float, str]]:
    """(ms, message) at an output."""
    return [(at / MS, message.hex(" ").upper()) for at, message, _ in performed.heard(output)]


def sounding(performed: PlayedEngine) -> int:
    return sum(synth.held for synth in performed.ears())


# Echoes


def test_an_echo_is_heard_at_its_time() -> None:
    """An echo repeats 100 and 200 ms after the key, and ends the same times after the release."""
    performed = PlayedEngine(rig(ECHO))
    played(performed, "90 3C 40")
    performed.wait(30 * MS)
    played(performed, "80 3C 11")
    performed.run_dry()
    assert heard(performed) == [
        (0, "90 3C 40"),
        (30, "80 3C 11"),
        (100, "90 3C 20"),
        (130, "80 3C 11"),
        (200, "90 3C 10"),
        (230, "80 3C 11"),
    ]


ENDS: dict[str, Callable[[PlayedEngine], object]] = {
    "its cable is pulled": lambda performed: performed.lose(0),
    "panic": lambda performed: performed.panic(),
    "the show ends": lambda performed: performed.take(finish(performed.router, performed.now)),
    "the machine slept": lambda performed: performed.take(wake_up(performed.router, performed.now)[1]),
    "another scene": lambda performed: performed.recall(2),
}


@pytest.mark.parametrize("cable", [0, 1], ids=["din", "fast"])
@pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)
def test_what_echoes_ends_with_its_source(end: Callable[[PlayedEngine], object], cable: int) -> None:
    """If the cable is pulled, on a panic, at the end of the show and where its scene ends, the sounding repeat is
    released at once and no more are sent, though the key is still held; its release has no echo either."""
    performed = PlayedEngine(rig(ECHO, to='"strings"' if cable == 0 else '"brass"'))
    played(performed, "90 3C 40", "90 40 40")
    performed.wait(120 * MS)
    assert sounding(performed) == 4
    end(performed)
    performed.run_dry()
    begun = performed.now + 5 * MS
    performed.let_go(0)
    performed.wait(1_000 * MS)
    performed.run_dry()
    assert sounding(performed) == 0
    assert not [message for at, message in heard(performed, cable) if at * MS > begun and message.startswith("90")]
    assert performed.router.state.ledger.sounding() == 0


def test_nothing_echoes_at_an_output_that_is_let_go_of() -> None:
    """An output handed over by a standby gets the ends of what sounds, and no repeat begins there: its port may be
    closed before the repeat ends."""
    performed = PlayedEngine(rig(everywhere=ECHO, to='["strings", "brass"]'))
    played(performed, "90 3C 40")
    performed.wait(50 * MS)
    played(performed, "80 3C 40")
    performed.take(output_left(performed.router, performed.now, BRASS))
    performed.wait(150 * MS)
    assert heard(performed)[-1] == (50, "80 3C 40")
    assert performed.heard(0)[-1][1] == bytes.fromhex("90 3C 10"), "the other one goes on"


def test_an_echo_of_every_scene_goes_on_through_a_change() -> None:
    """[[routes]] keep their state over a scene change: repeats and their ends come on time in the next scene (the
    player's release at 150 ms is held back until the last repeat ends)."""
    performed = PlayedEngine(rig(everywhere=ECHO))
    played(performed, "90 3C 40")
    performed.wait(120 * MS)
    performed.recall(2)
    performed.wait(30 * MS)
    played(performed, "80 3C 40")
    performed.run_dry()
    assert [at for at, _ in heard(performed)] == [0, 100, 200, 250, 350, 350]
    assert sounding(performed) == 0


def test_an_echo_of_every_scene_hears_each_release_once() -> None:
    """A key struck twice and held through a change of scenes: both strokes' repeats end, though each release goes by
    older routes and by those in force, which share the echo."""
    performed = PlayedEngine(rig(own='{ filter = "zone", notes = ["C5", "C6"] }', everywhere=ECHO))
    played(performed, "90 3C 40", "90 3C 40")
    performed.recall(2)
    played(performed, "80 3C 40", "80 3C 40")
    performed.run_dry()
    assert [message[:2] for _, message in heard(performed)].count("90") == 6
    assert [message[:2] for _, message in heard(performed)].count("80") == 6
    assert performed.router.state.ledger.sounding() == 0


def test_another_inputs_echo_goes_on_when_a_cable_is_pulled() -> None:
    """Only the lost input's repeats end."""
    performed = PlayedEngine(rig(ECHO))
    played(performed, "90 3C 40")
    played(performed, "90 40 40", source=1)
    performed.lose(0)
    performed.run_dry()
    assert [message for at, message in heard(performed) if at >= 100] == ["90 40 20", "90 40 10"]


def test_a_player_and_an_echo_on_one_key_sound_until_both_let_go() -> None:
    """If the player strikes again while the echo of the first stroke sounds, the key sounds until the last of them is
    over, and each press has had its release (MIDI 1.0 p. A-4)."""
    performed = PlayedEngine(rig('{ filter = "echo", milliseconds = 100, repeats = 1, fade = 0 }'))
    played(performed, "90 3C 40")
    performed.wait(50 * MS)
    played(performed, "80 3C 40")
    performed.wait(70 * MS)  # 120: the echo sounds from 100 to 150
    played(performed, "90 3C 41")
    performed.wait(10 * MS)
    played(performed, "80 3C 41")
    performed.run_dry()
    assert heard(performed) == [
        (0, "90 3C 40"),
        (50, "80 3C 40"),
        (100, "90 3C 40"),
        (120, "90 3C 41"),
        (150, "80 3C 40"),  # the player's release at 130 is held back until the echo ends, so both come now
        (150, "80 3C 40"),
        (220, "90 3C 41"),
        (230, "80 3C 41"),
    ]


def test_an_echo_does_not_cut_a_held_key() -> None:
    """If another player holds the key, the end of the echo is held back until that player releases it."""
    performed = PlayedEngine(rig(ECHO))
    played(performed, "90 3C 40")
    performed.wait(10 * MS)
    played(performed, "80 3C 40")
    played(performed, "90 3C 50", source=1)
    performed.wait(15 * MS)
    performed.run_dry()
    assert sounding(performed) >= 1
    played(performed, "80 3C 50", source=1)
    performed.run_dry()
    assert sounding(performed) == 0


# Values


def test_the_last_value_of_a_movement_arrives() -> None:
    """A wheel that stops between its ends: its last value comes once, when the 20 ms are over."""
    performed = PlayedEngine(rig(THIN))
    for value in ("10", "11", "12", "13"):
        played(performed, f"B0 01 {value}")
        performed.wait(4 * MS)
    performed.run_dry()
    assert heard(performed) == [(0, "B0 01 10"), (20, "B0 01 13")]


def test_a_value_sent_now_outdates_the_one_that_waits() -> None:
    """A wheel released within the 20 ms comes to rest and stays there."""
    performed = PlayedEngine(rig(THIN))
    played(performed, "B0 01 10", "B0 01 21")
    performed.wait(5 * MS)
    played(performed, "B0 01 00")
    performed.run_dry()
    assert heard(performed) == [(0, "B0 01 10"), (5, "B0 01 00")]


def test_reset_all_controllers_outdates_what_it_resets() -> None:
    """A waiting wheel value does not undo a reset played after it (RP-015); what a reset does not affect, and other
    channels, still get their last values."""
    performed = PlayedEngine(rig(THIN))
    played(performed, "B0 01 10", "B0 07 10", "E0 00 50", "B1 01 10", "B0 01 11", "B0 07 11", "E0 00 51", "B1 01 11")
    played(performed, "B0 79 00")
    performed.run_dry()
    assert heard(performed)[4:] == [(0, "B0 79 00"), (20, "B0 07 11"), (20, "B1 01 11")]


def test_a_waiting_value_is_outdated_where_the_newer_one_goes_and_nowhere_else() -> None:
    """If a value waits for two outputs and one of them gets a newer one now, the other still gets it; other controls
    and other players are unaffected."""
    table = DelayedMessages()
    for source, message in ((0, "B0 01 10"), (0, "B0 07 10"), (1, "B0 01 10"), (0, "B0 40 7F")):
        table.add(source, TimedMessage(5, bytes.fromhex(message), (0, 1), source == 0))
    table.outdate(0, [(1, (b"\xb0\x01\x00",)), (1, (b"\xb0\x40\x00",))])
    assert [(due.source, due.message.hex(" ").upper(), due.outputs) for due in table.take(5)] == [
        (0, "B0 01 10", (0,)),
        (0, "B0 07 10", (0,)),
        (0, "B0 07 10", (1,)),
        (1, "B0 01 10", (0,)),
        (1, "B0 01 10", (1,)),
        (0, "B0 40 7F", (0, 1)),
    ]


def test_two_routes_may_thin_one_wheel_differently() -> None:
    """The slower of two routes to one output drops its waiting value when the faster has sent a newer one."""
    slow = '{ filter = "thin", milliseconds = 50 }'
    for first, second in ((slow, THIN), (THIN, slow)):
        faster = f'routes = [ {{ from = "keys", to = "brass", through = [ {first} ] }},'
        performed = PlayedEngine(rig(second).replace("routes = [", faster))
        for value in range(0x10, 0x30):
            played(performed, f"B0 01 {value:02X}")
            performed.wait(3 * MS)
        performed.run_dry()
        assert heard(performed)[-1][1] == "B0 01 2F"


def test_of_two_messages_for_one_time_the_first_comes_first() -> None:
    """At equal times messages go in the order in which the filters answered; otherwise earlier times come first."""
    table = DelayedMessages()
    order = [(7, "90 3C 40"), (5, "90 3D 40"), (7, "80 3C 40"), (5, "C0 05"), (7, "F8"), (6, "B0 40 7F")]
    for at, message in order:
        table.add(0, TimedMessage(at, bytes.fromhex(message), (0,), False))
    assert table.due == 5
    assert [due.message.hex(" ").upper() for due in table.take(6)] == ["90 3D 40", "C0 05", "B0 40 7F"]
    assert [due.message.hex(" ").upper() for due in table.take(7)] == ["90 3C 40", "80 3C 40", "F8"]
    assert table.due is None


@pytest.mark.parametrize("times", [(5, 9), (9, 5), (5, 5)])
def test_the_newest_value_counts_whichever_was_to_come_first(times: tuple[int, int]) -> None:
    """Of two waiting values of one control only the later answer is sent; switches and programs are all kept."""
    table = DelayedMessages()
    for at, value in zip(times, (1, 2), strict=True):
        for message in (bytes((0xB0, 1, value)), bytes((0xB0, 64, value)), bytes((0xC0, value))):
            table.add(0, TimedMessage(at, message, (0, 1), False))
    table.add(1, TimedMessage(9, b"\xb0\x01\x03", (0,), False))  # another player's wheel
    taken = table.take(9)
    assert [(due.message[2], due.outputs) for due in taken if due.message[:2] == b"\xb0\x01" and due.source == 0] == [
        (2, (0,)),
        (2, (1,)),
    ]
    assert Counter(due.message[0] for due in taken) == {0xB0: 2 + 1 + 2, 0xC0: 2}


# Chains


def test_filters_behind_an_echo_are_asked_with_its_time() -> None:
    """Echo, then transpose: every repeat is transposed."""
    performed = PlayedEngine(rig(f'{ECHO}, {{ filter = "transpose", semitones = 12 }}'))
    played(performed, "90 3C 40", "80 3C 40")
    performed.run_dry()
    assert heard(performed) == [
        (0, "90 48 40"),
        (0, "80 48 40"),
        (100, "90 48 20"),
        (100, "80 48 40"),
        (200, "90 48 10"),
        (200, "80 48 40"),
    ]


def test_an_echo_of_an_echo() -> None:
    """Two echoes of one repeat each, 100 and 30 ms: the key, 30, 100 and 130 ms after it."""
    one, two = (f'{{ filter = "echo", milliseconds = {ms}, repeats = 1, fade = 0 }}' for ms in (100, 30))
    performed = PlayedEngine(rig(f"{one}, {two}"))
    played(performed, "90 3C 40")
    performed.wait(10 * MS)
    played(performed, "80 3C 40")
    performed.run_dry()
    assert [at for at, message in heard(performed) if message[0] == "9"] == [0, 30, 100, 130]
    assert [at for at, message in heard(performed) if message[0] == "8"] == [10, 40, 110, 140]


def test_a_later_message_may_be_stopped_by_a_filter_behind() -> None:
    """Echo, then a velocity zone: the soft repeats fall outside it, and nothing hangs."""
    performed = PlayedEngine(rig(f'{ECHO}, {{ filter = "zone", velocity = [32, 127] }}'))
    played(performed, "90 3C 40", "80 3C 40")
    performed.run_dry()
    assert [message for _, message in heard(performed)] == ["90 3C 40", "80 3C 40", "90 3C 20", "80 3C 40"]


def test_explain_tells_what_comes_later() -> None:
    """The explanation of each filter, and of what the output gets, gives times from now."""
    loaded = read(rig(f'{ECHO}, {{ filter = "transpose", semitones = 12 }}'), "test")
    found = explain(loaded, loaded.scenes[0], "keys", (b"\x90\x3c\x40",))
    assert found.outputs["brass"] == (
        b"\x90\x48\x40",
        Later(100 * MS, b"\x90\x48\x20"),
        Later(200 * MS, b"\x90\x48\x10"),
    )
    echo, transpose = found.routes[0].filters
    assert echo.gave == (b"\x90\x3c\x40", Later(100 * MS, b"\x90\x3c\x20"), Later(200 * MS, b"\x90\x3c\x10"))
    assert transpose.took == echo.gave


# Plug-ins


@pytest.fixture
def plug_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Any, bool], Engine]]:
    """A router whose transpose is another step, with or without state."""

    def make(step: Any, keeps_state: bool) -> Engine:
        registry.cache_clear()
        monkeypatch.setattr(filters.transpose, "build", lambda settings: step)
        monkeypatch.setattr(filters.transpose, "KEEPS_STATE", keeps_state, raising=False)
        router = engine_of(read(rig('{ filter = "transpose", semitones = 1 }'), "test"))
        recall(router, 0, 1)
        return router

    yield make
    registry.cache_clear()


def test_a_filter_without_state_may_not_answer_for_later(plug_in: Callable[[Any, bool], Engine]) -> None:
    """A stateless plug-in's answers are remembered, so its times would be wrong: the message passes, with a fault
    reported."""
    router = plug_in(lambda message, now: (Later(now + 5, message),), False)
    assert [message for _, message, _ in router.receive(1, 0, b"\x90\x3c\x40")] == [b"\x90\x3c\x40"]
    assert router.state.delayed.due is None
    assert router.state.faults.counts == {"transpose": 1}
    assert "Later" in router.state.faults.first["transpose"]


WRONG: list[tuple[Any, Any]] = [
    (5, b"\x90"),
    (1.5, b"\x90\x3c\x40"),
    (None, b"\x90\x3c\x40"),
    (5, "90"),
]  # a plug-in may


@pytest.mark.parametrize(
    "answer",
    [Later(*each) for each in WRONG],
)
def test_nonsense_for_later_is_reported_and_stepped_over(plug_in: Callable[[Any, bool], Engine], answer: Later) -> None:
    """If a plug-in answers with a time that is not a whole number or an invalid message, the original passes."""
    router = plug_in(lambda message, now: (answer,), True)
    assert [message for _, message, _ in router.receive(1, 0, b"\x90\x3c\x40")] == [b"\x90\x3c\x40"]
    assert router.state.faults.counts == {"transpose": 1}


def test_a_time_that_is_past_is_now(plug_in: Callable[[Any, bool], Engine]) -> None:
    """A message for the present or a time already past is sent at once, and only once."""
    for early in (0, 5):
        router = plug_in(lambda message, now, early=early: (Later(now - early, message),), True)
        assert [message for _, message, _ in router.receive(100, 0, b"\x90\x3c\x40")] == [b"\x90\x3c\x40"]
        assert router.tick(100) == []


@pytest.mark.parametrize("keeps_state", [False, True])
def test_a_note_that_a_release_starts_ends_with_its_source(
    plug_in: Callable[[Any, bool], Engine], keeps_state: bool
) -> None:
    """A plug-in sounds a note when a key is released, as a harpsichord's jacks do: no key holds that note, but it is in
    the ledger all the same."""
    router = plug_in(lambda message, now: (b"\x90\x30\x40",) if message[0] == 0x80 else (message,), keeps_state)
    router.receive(1, 0, b"\x90\x3c\x40")
    sent = [message.hex() for _, message, _ in router.receive(2, 0, b"\x80\x3c\x40")]
    assert sent == ["803c40", "903040"]
    assert [message.hex() for _, message, _ in input_lost(router, 3, 0)] == ["803040"]


def test_a_note_a_pedal_starts_later_ends_with_its_source(plug_in: Callable[[Any, bool], Engine]) -> None:
    """A plug-in's delayed note that no key holds is in the ledger, too."""
    router = plug_in(lambda message, now: (Later(now + 5, b"\x90\x30\x40"),), True)
    router.receive(1, 0, b"\xb0\x40\x7f")
    assert [message for _, message, _ in router.tick(6)] == [b"\x90\x30\x40"]
    assert [message for _, message, _ in input_lost(router, 7, 0)] == [b"\x80\x30\x40"]


# An edited rig


@pytest.mark.parametrize("where", ["own", "everywhere"])
def test_an_edit_of_another_scene_leaves_an_echo_alone(where: str) -> None:
    """If the edit leaves the scene in force alone, repeats and their ends come as if nothing had been saved, and none
    hangs, whatever scene is recalled then."""
    for recalled in (None, 2):
        text = rig(**{where: ECHO})
        performed = PlayedEngine(text)
        played(performed, "90 3C 40")
        performed.wait(120 * MS)
        performed.take(adopt(performed.router, performed.now, read(text.replace('"B"', '"C"'), "test")))
        performed.wait(10 * MS)
        if recalled:
            performed.recall(recalled)
        performed.let_go()
        performed.run_dry()
        assert sounding(performed) == 0
        if not recalled:
            assert [at for at, _ in heard(performed)] == [0, 100, 200, 230, 330, 330]


@pytest.mark.parametrize("where", ["own", "everywhere"])
def test_an_edit_of_its_scene_ends_an_echo(where: str) -> None:
    """If the edit removes the filters that would have ended a repeat, the repeat ends at the edit."""
    text = rig(**{where: ECHO})
    performed = PlayedEngine(text)
    played(performed, "90 3C 40")
    performed.wait(120 * MS)
    performed.take(adopt(performed.router, performed.now, read(text.replace("repeats = 2", "repeats = 3"), "test")))
    performed.let_go()
    performed.run_dry()
    assert sounding(performed) == 0
    assert performed.router.state.ledger.sounding() == 0


# Any stream

LATE = (ECHO, '{ filter = "echo", milliseconds = 7, repeats = 3, fade = 20 }', *STATEFUL)
#: more echoes than other filters, both in scenes' routes and in routes of every scene
ECHOING = LATE + LATE + STATELESS


@st.composite
def echoing_rigs(draw: st.DrawFn) -> str:
    """Three scenes and an empty one, sometimes with a route in force in all of them."""
    text = draw(rigs(ECHOING))
    through = ", ".join(draw(st.lists(st.sampled_from(ECHOING), max_size=2)))
    route = f'[[routes]]\nfrom = ["keys", "foot"]\nto = ["strings", "brass"]\nthrough = [ {through} ]\n'
    return text.replace("[[scenes]]", route + "[[scenes]]", 1) if draw(st.booleans()) else text


@given(echoing_rigs(), events)
@settings(max_examples=40)
def test_when_the_last_echo_is_over_nothing_sounds(text: str, stream: list[Any]) -> None:
    """On any rig, after any stream, scene changes and pulled cables: once every key is up and the last repeat is over,
    no note sounds, and there has been one note-off for each note-on (MIDI 1.0 p. A-4); where echoes were ended with
    their scene or their cable, one a key, so no more than that."""
    performed = PlayedEngine(text)
    performed.perform(stream)
    performed.let_go()
    performed.run_dry()
    assert performed.router.state.delayed.due is None
    assert sounding(performed) == 0
    assert performed.router.state.ledger.sounding() == 0
    balance: Counter[tuple[int, int, int]] = Counter()
    for _, (output, message, _) in performed.handed:
        if message[0] & 0xE0 == 0x80:
            pressed = message[0] & 0xF0 == 0x90 and message[2] > 0
            balance[output, message[0] & 0x0F, message[1]] += 1 if pressed else -1
    assert min(balance.values(), default=0) >= 0
    if not {"recall", "lose"} & {event[1] for event in stream}:
        assert not {key: count for key, count in balance.items() if count}


@given(echoing_rigs(), events, st.sampled_from(["panic", "show"]))
@settings(max_examples=40)
def test_nothing_echoes_after_a_panic_or_the_end(text: str, stream: list[Any], end: str) -> None:
    """Whatever is still due later: after a panic or the end of the show nothing sounds and all is at rest, for good."""
    performed = PlayedEngine(text)
    performed.perform(stream)
    ENDS["panic" if end == "panic" else "the show ends"](performed)
    performed.run_dry()
    assert sounding(performed) == 0
    assert [synth.off_rest for synth in performed.ears()] == [set(), set()]
    assert performed.router.state.delayed.due is None


@example([(0, 0), *[(20, 1)] * 6], 0)
@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 127)), min_size=1, max_size=40), st.sampled_from([0, 1]))
@settings(max_examples=80)
def test_a_thinned_wheel_always_ends_where_it_stands(moves: list[tuple[int, int]], output: int) -> None:
    """Through thin, on either kind of cable: the last value is the last to arrive, and values are at least 20 ms apart,
    except 0, 64 and 127, and apart from delays on the cable itself: what repeats evenly looks like a loop of cables,
    and the message that looks for one takes its time."""
    performed = PlayedEngine(rig(THIN, to='"strings"' if output == 0 else '"brass"'))
    for gap, value in moves:
        performed.wait(gap * MS)
        performed.play(0, bytes((0xB0, 1, value)))
    performed.run_dry()
    heard = performed.heard(output)
    arrived = [(at, message[2]) for at, message, _ in heard if message[0] == 0xB0]
    late = max((len(message) * BYTE_NS for _, message, _ in heard if message[0] == 0xF0), default=0)
    assert arrived[-1][1] == moves[-1][1]
    for (before, _), (at, value) in pairwise(arrived):
        assert at - before >= 20 * MS - late or value in (0, 64, 127)
