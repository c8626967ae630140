"""An edited rig takes over while the show plays: nothing that still exists is cut."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import filters.transpose
from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import RemoteCable
from engine.core.cable.scheduler import Cable
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.core.rules import RULES, RULES_1, Rules
from engine.rig.read.load import read
from filters.registry import registry
from tests.support.engine_calls import adopt, command, engine_of, recall
from tests.support.pit_engine import MS, PORTS, SCENES, ears, hexed, run_dry
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import events, rigs
from tests.support.receiver import Receiver

STRINGS, BRASS = 0, 1
KEYS, PADS = 0, 1

LAYER = '{ from = ["keys", "pads"], to = ["strings", "brass"] }'


def text(scenes: str = SCENES, cable: str = "fast") -> str:
    return PORTS.replace("WIRE", cable) + scenes


def scene(routes: str = LAYER, burst: str = "", number: int = 1) -> str:
    return f'[[scenes]]\nnumber = {number}\nname = "Scene {number}"\nroutes = [ {routes} ]\nburst = [ {burst} ]\n'


def without(name: str, rig: str) -> str:
    """The text of a rig whose ports have lost a line."""
    return "\n".join(line for line in rig.splitlines() if not line.startswith(f"{name} ="))


def start(rig: str, number: int = 1) -> tuple[Engine, list[Delivery]]:
    router = engine_of(read(rig, "test"))
    return router, recall(router, 0, number)


def edit(now: int, rig: str, old: Engine) -> tuple[Engine, list[Delivery]]:
    """The engine after it has adopted an edited rig, and the messages sent in doing so."""
    return old, adopt(old, now, read(rig, "test"))


def test_an_output_that_moves_to_another_machine_has_another_cable() -> None:
    """An output whose port is at another machine after an edit has a cable that leaves orders; when the port is here
    again, nothing is ordered. The cables of other outputs stay."""
    old, _ = start(text())
    strings, brass = old.state.cables
    adopt(old, MS, read(text(), "test"), remote=["strings"])
    moved = old.state.cables[STRINGS].remote
    assert moved is not None
    moved.lead(2 * MS)
    moved.take_orders()
    old.receive(2 * MS, KEYS, b"\x90\x3c\x40")
    assert [order.messages for order in moved.take_orders()] == [(b"\x90\x3c\x40",)]
    assert old.state.cables[BRASS] is brass
    adopt(old, 3 * MS, read(text(), "test"), remote=["strings", "brass"])
    assert old.state.cables[STRINGS] is moved, "it stays there: so does its cable, with what it knows"
    adopt(old, 4 * MS, read(text(), "test"))
    assert old.state.cables[STRINGS].remote is None
    assert old.state.cables[STRINGS] is not strings


def test_what_an_edit_did_not_touch_is_not_compiled_again() -> None:
    """A scene that is as it was in the rig before keeps its compiled form; any other is compiled again."""
    before = read(text(), "test")
    old = compile_rig(before)
    name = before.scenes[1].model_copy(update={"name": "Other"})
    edited = before.model_copy(update={"scenes": (before.scenes[0], name, *before.scenes[2:])})
    new = compile_rig(edited, after=old)
    assert new.scenes[1] is old.scenes[1]
    assert new.scenes[3] is old.scenes[3]
    assert new.scenes[2].name == "Other"
    assert new.scenes[2].own is old.scenes[2].own


def test_an_identical_rig_takes_over_in_silence() -> None:
    """A file saved unchanged sends nothing, and held keys and moved controllers stay as they are."""
    old, _ = start(text())
    old.receive(1, KEYS, b"\x90\x3c\x40")
    old.receive(2, KEYS, b"\xb0\x40\x7f")
    settled, _ = run_dry(old, 3)
    new, sent = edit(settled, text(), old)
    assert sent == []
    assert (new.scene, new.state.ledger.sounding(), new.state.ledger.off_rest()) == ((1, "Straight"), 2, 2)
    assert hexed(new.receive(settled + 1, KEYS, b"\x80\x3c\x40")) == ["80 3C 40", "80 3C 40"]
    assert recall(new, settled + 2, 3) == []  # the chord rings on under the pedal
    assert hexed(new.receive(settled + 3, KEYS, b"\xb0\x40\x00"), BRASS) == ["B0 40 00"]


def test_a_held_key_is_released_where_its_press_went() -> None:
    """If the edit transposes a scene, the old note is released and the new one played (MIDI 1.0 p. A-4)."""
    old, _ = start(text(scene('{ from = "keys", to = "strings" }')))
    old.receive(1, KEYS, b"\x90\x3c\x40")
    up = scene('{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 2 } ] }')
    new, sent = edit(2, text(up), old)
    assert sent == []
    assert hexed(new.receive(3, KEYS, b"\x90\x40\x40")) == ["90 42 40"]
    assert hexed(new.receive(4, KEYS, b"\x80\x3c\x40")) == ["80 3C 40"]
    assert hexed(new.receive(5, KEYS, b"\x80\x40\x40")) == ["80 42 40"]


def test_an_output_that_is_taken_out_hears_its_releases() -> None:
    """An output removed from the rig gets its note-off and its pedal up; the other output gets nothing."""
    old, _ = start(text(scene()))
    for message in (b"\x90\x3c\x40", b"\xb0\x40\x7f", b"\xe0\x00\x50"):
        old.receive(1, KEYS, message)
    _, sent = edit(2, without("brass", text(scene('{ from = ["keys", "pads"], to = "strings" }'))), old)
    assert hexed(sent, BRASS) == ["80 3C 40", "B0 40 00", "E0 00 40"]
    assert hexed(sent, STRINGS) == []


def test_an_input_that_is_taken_out_is_let_go() -> None:
    """Notes and controllers of the removed input are released; another player's notes sound on."""
    old, _ = start(text(scene()))
    old.receive(1, PADS, b"\x90\x3c\x40")
    old.receive(1, PADS, b"\xb0\x40\x7f")
    old.receive(1, KEYS, b"\x90\x40\x40")
    new, sent = edit(2, without("pads", text(scene('{ from = "keys", to = ["strings", "brass"] }'))), old)
    assert hexed(sent, STRINGS) == ["80 3C 40", "B0 40 00"]
    assert new.state.ledger.sounding() == 2, "the keys' note at both outputs"


def test_what_the_edited_scene_no_longer_feeds_comes_to_rest() -> None:
    """A pedal whose route was deleted goes up, as on a scene change (RP-015)."""
    old, _ = start(text(scene()))
    old.receive(1, KEYS, b"\xb0\x40\x7f")
    _, sent = edit(2, text(scene('{ from = "keys", to = "strings" }')), old)
    assert hexed(sent, BRASS) == ["B0 40 00"]
    assert hexed(sent, STRINGS) == []


LATCH = '{ from = "keys", to = "strings", through = [ { filter = "latch", controllers = [64] } ] }'


@pytest.mark.parametrize("touched", [scene(LAYER, number=2), scene(LATCH, number=2)])
def test_an_untouched_scene_remembers_its_latch(touched: str) -> None:
    """If another scene is edited, the latch in the scene in force is still on, so the next press turns it off."""
    old, _ = start(text(scene(LATCH) + scene(number=2)))
    assert hexed(old.receive(1, KEYS, b"\xb0\x40\x7f")) == ["B0 40 7F"]
    old.receive(2, KEYS, b"\xb0\x40\x00")
    new, sent = edit(3, text(scene(LATCH) + touched), old)
    assert sent == []
    assert hexed(new.receive(4, KEYS, b"\xb0\x40\x7f")) == ["B0 40 00"]


def test_only_a_changed_burst_is_sent() -> None:
    """An output whose sounds were edited gets its burst; one whose sounds were not gets nothing."""
    burst = '{ instrument = "lead", sound = "A" }, { output = "brass", channel = 1, program = 5 }'
    old, _ = start(text(scene(burst=burst)))
    old.tick(100 * MS)
    new, sent = edit(100 * MS, text(scene(burst=burst.replace('"A"', '"B"'))), old)
    assert hexed(sent) == ["B0 00 02", "B0 20 0C", "C0 15"]
    assert new.state.cables[STRINGS].sounds[0] == (b"\xb0\x00\x02", b"\xb0\x20\x0c", b"\xc0\x15")


def test_a_scene_that_vanished_plays_on() -> None:
    """A scene in force that is deleted from the rig keeps routing as before until another is recalled."""
    old, _ = start(text(scene() + scene(number=2, routes='{ from = "keys", to = "strings" }')))
    old.receive(1, KEYS, b"\x90\x3c\x40")
    new, sent = edit(2, text(scene(number=2, routes='{ from = "keys", to = "strings" }')), old)
    assert sent == []
    assert new.scene == (1, "Scene 1")
    assert hexed(new.receive(3, KEYS, b"\x90\x40\x40")) == ["90 40 40"] * 2
    recall(new, 4, 2)
    assert hexed(new.receive(5, KEYS, b"\x90\x41\x40")) == ["90 41 40"]
    assert new.state.compiled.find(1) is None


@pytest.mark.parametrize("kept", [1, 2])
def test_a_new_input_plays_at_once(kept: int) -> None:
    """An input added to the rig plays as the edited scene routes it; in a scene that was not edited, or was deleted, it
    reaches nothing until it is routed, and does no harm."""
    old, _ = start(text(scene() + scene(number=2)))
    more = text(scene(number=kept)).replace("[outputs]", 'desk = { port = "f" }\n[outputs]')
    new, _ = edit(1, more, old)
    assert new.inputs[3] == "desk"
    assert new.receive(2, 3, b"\x90\x3c\x40") == []
    routed, _ = edit(3, more.replace('"pads"]', '"pads", "desk"]'), new)
    recall(routed, 4, kept)
    assert hexed(routed.receive(5, 3, b"\x90\x3c\x40")) == ["90 3C 40"] * 2


def test_a_wire_that_becomes_a_din_cable_is_paced() -> None:
    """`wire = "din"` added while the show plays is in force at once: messages go at most 3 ms and one message ahead."""
    old, _ = start(text(scene()))
    new, _ = edit(1, text(scene(), cable="din"), old)
    sent = [d for key in range(20) for d in new.receive(1, KEYS, bytes((0x90, 40 + key, 64)))]
    assert len(hexed(sent, STRINGS)) <= 5
    assert len(hexed(sent, BRASS)) == 20
    back, rest = edit(2, text(scene()), new)
    rest += run_dry(back, 2)[1]
    assert len(hexed(sent + rest, STRINGS)) == 20
    assert len(hexed(back.receive(3, KEYS, b"\x80\x28\x40"), STRINGS)) == 1


@pytest.fixture
def broken_transpose(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Every transposition raises."""
    registry.cache_clear()
    monkeypatch.setattr(filters.transpose, "build", lambda settings: lambda message, now: 1 / 0)
    yield
    registry.cache_clear()


@pytest.mark.usefixtures("broken_transpose")
def test_a_filter_that_fails_in_a_scene_that_stayed_is_still_reported() -> None:
    """Filter faults in the scene in force are counted, also after an edit of another scene."""
    through = '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 2 } ] }'
    old, _ = start(text(scene(through)))
    new, _ = edit(2, text(scene(through) + scene(number=2)), old)
    assert hexed(new.receive(3, KEYS, b"\x90\x3d\x40")) == ["90 3D 40"]
    assert new.state.faults.counts == {"transpose": 1}


def test_the_place_in_the_set_list_stays() -> None:
    """After an edit `next` leads to the scene after the one in force."""
    three = [scene(number=number) for number in (1, 2, 3)]
    old, _ = start(text("".join(three)), number=2)
    new, _ = edit(1, text("".join([*three, scene(number=4)])), old)
    assert command(new, 2, "next", None, "test")[0].scene == (3, "Scene 3")


def test_the_place_of_a_scene_that_vanished_stays() -> None:
    """If the scene in force is deleted, `next` leads to the one that came after it, not to the first."""
    three = [scene(number=number) for number in (1, 2, 3)]
    old, _ = start(text("".join(three)), number=2)
    new, _ = edit(1, text(three[0] + three[2]), old)
    assert command(new, 2, "next", None, "test")[0].scene == (3, "Scene 3")


def test_a_scene_with_another_number_is_found_by_its_name() -> None:
    """The scene in force is renumbered while other scenes are new as well: it stays in force, and `next` leads on from
    it."""
    old, _ = start(text(scene(number=1) + scene(number=2)), number=2)
    renumbered = scene(number=2).replace("number = 2", "number = 9")
    new, _ = edit(1, text(scene(number=1) + scene(number=5) + renumbered + scene(number=7)), old)
    assert new.scene == (9, "Scene 2")
    assert command(new, 2, "next", None, "test")[0].scene == (7, "Scene 7")


def test_the_set_list_in_use_stays_when_its_scene_vanishes() -> None:
    """If the scene in force is deleted while the second set list is in use, `next` still follows that list."""
    lists = '[[setlists]]\nname = "A"\nscenes = [1, 3]\n[[setlists]]\nname = "B"\nscenes = [{}3, 1]\n'
    three = [scene(number=number) for number in (1, 2, 3)]
    old, _ = start(text("".join([*three, lists.format("2, ")])), number=2)
    command(old, 1, "setlist", "B", "test")
    new, _ = edit(2, text(three[0] + three[2] + lists.format("")), old)
    assert new.state.main.setlist.name == "B"
    assert command(new, 3, "next", None, "test")[0].scene == (3, "Scene 3")


def hears_both(played: PlayedEngine, other: str) -> None:
    """Another rig takes over at this moment."""
    played.take(adopt(played.router, played.now, read(other, "test")))


@pytest.mark.slow
@given(rigs(), rigs(), events, events)
@settings(max_examples=50)
def test_nothing_hangs_over_an_edit(first: str, second: str, before: list[Any], after: list[Any]) -> None:
    """Whatever rig follows any other, at any moment: once all keys are up there is silence, each press has had its
    release, and in an empty scene all is at rest."""
    played = PlayedEngine(first)
    played.perform(before)
    hears_both(played, second)
    played.perform(after)
    played.comes_to_rest()


@pytest.mark.slow
@given(rigs(), events, events)
@settings(max_examples=40)
def test_the_same_rig_taken_over_is_as_if_nothing_had_been(rig: str, before: list[Any], after: list[Any]) -> None:
    """Saving the file unchanged in the middle of any stream changes not one message at any output."""
    heard: list[list[Receiver]] = []
    for edited in (False, True):
        played = PlayedEngine(rig)
        played.perform(before)
        if edited:
            hears_both(played, rig)
        played.perform(after)
        played.run_dry()
        heard.append(played.ears())
    assert [ear.log for ear in heard[0]] == [ear.log for ear in heard[1]]


@given(rigs(), events, st.sampled_from(["keys", "pads", "foot"]))
@settings(max_examples=30)
def test_an_input_taken_out_holds_nothing(rig: str, stream: list[Any], gone: str) -> None:
    """After an edit that removes an input, none of its notes sounds on once the others have released theirs."""
    played = PlayedEngine(rig)
    played.perform(stream)
    source = played.router.inputs.index(gone)
    named = [f'"{name}"' for name in ("keys", "pads", "foot") if name != gone]
    edited = without(gone, rig)
    for listed in (f'"{gone}", ', f', "{gone}"'):
        edited = edited.replace(listed, "")
    edited = edited.replace(f'["{gone}"]', f"[{', '.join(named)}]")
    hears_both(played, edited)
    for key in [key for key in played.down if key[0] == source]:
        del played.down[key]
    played.let_go()
    played.run_dry()
    assert [synth.held for synth in ears([d for _, d in played.handed])] == [0, 0]


LATCHED = """
format = 1
routes = [ { from = ["keys"], to = ["strings"], through = [ { filter = "latch", controllers = [64] } ] } ]
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "d" }
[[scenes]]
number = 1
name = "First"
[[scenes]]
number = 2
name = "Second"
"""


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Second", "Another"),
        ("First", "Another"),
        ("number = 1", "number = 3"),
        ('keys = { port = "a" }', 'keys = { port = "a" }\npads = { port = "b" }'),
        ("[[scenes]]", '[instruments.lead]\noutput = "strings"\nchannel = 1\n[[scenes]]'),
    ],
)
@pytest.mark.parametrize("recalled", [0, 2])
def test_routes_of_every_scene_remember_over_an_edit(old: str, new: str, recalled: int) -> None:
    """A pedal that is latched on goes off with the next press, whatever else was edited, and in the next scene, too."""
    router, _ = start(LATCHED)
    assert hexed(router.receive(1, KEYS, b"\xb0\x40\x7f")) == ["B0 40 7F"]
    router.receive(2, KEYS, b"\xb0\x40\x00")
    assert edit(3, LATCHED.replace(old, new, 1), router)[1] == []
    if recalled:
        assert recall(router, 4, recalled) == []
    assert hexed(router.receive(5, KEYS, b"\xb0\x40\x7f")) == ["B0 40 00"]
    router.receive(6, KEYS, b"\xb0\x40\x00")
    router.receive(7, KEYS, b"\xb0\x40\x7f")
    command(router, 8, "panic")
    recall(router, 9, 2)
    run_dry(router, 9)
    router.receive(10 * MS, KEYS, b"\xb0\x40\x00")
    assert hexed(router.receive(11 * MS, KEYS, b"\xb0\x40\x7f")) == ["B0 40 7F"]


def test_routes_of_every_scene_are_the_same_ones_after_an_edit_and_a_panic() -> None:
    """A pedal that is latched on in the scene that was in force over an edit goes off with the next press in another
    scene, also after a panic, which renews the filters of both."""
    router, _ = start(LATCHED)
    edit(1, LATCHED.replace("Second", "Another"), router)
    command(router, 2, "panic")
    run_dry(router, 2)
    assert hexed(router.receive(10 * MS, KEYS, b"\xb0\x40\x7f")) == ["B0 40 7F"]
    router.receive(11 * MS, KEYS, b"\xb0\x40\x00")
    assert recall(router, 12 * MS, 2) == []
    assert hexed(router.receive(13 * MS, KEYS, b"\xb0\x40\x7f")) == ["B0 40 00"]


@pytest.mark.parametrize(("rules", "next_press"), [(RULES, "B0 40 00"), (RULES_1, "B0 40 7F")])
def test_a_recording_of_format_1_forgets_a_latch_at_an_edit(rules: Rules, next_press: str) -> None:
    """Routes of every scene began again with every edit when recordings had format 1, so a replay does that, too."""
    router = Engine(compile_rig(read(LATCHED, "test")), rules=rules)
    recall(router, 0, 1)
    router.receive(1, KEYS, b"\xb0\x40\x7f")
    router.receive(2, KEYS, b"\xb0\x40\x00")
    edit(3, LATCHED.replace("Second", "Another"), router)
    recall(router, 4, 2)
    assert hexed(router.receive(5, KEYS, b"\xb0\x40\x7f")) == [next_press]


def test_an_output_that_comes_back_to_this_machine_is_paced_here() -> None:
    """Taken out of the rig while it was plugged into another machine, and put in again with a cable here."""
    rig = LATCHED.replace("[outputs]", '[outputs]\nbrass = { port = "e" }')
    router = engine_of(read(rig, "test"), remote=["brass"])
    assert type(router.state.cables[0]) is RemoteCable
    adopt(router, 1, read(LATCHED, "test"))
    adopt(router, 2, read(rig, "test"))
    assert [type(cable) for cable in router.state.cables] == [Cable, Cable]
