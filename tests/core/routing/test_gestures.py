"""A note keeps its gesture: pedals, wheels and pressures of the player who plays it, until it is silent.

The rules are the project's own (design, "What a scene change is"); values at rest are those of RP-015.
"""

from collections.abc import Callable

import pytest

from engine.core.commands import RecallScene
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import command, engine_of, input_lost, mute, output_there, recall, wake_up
from tests.support.pit_engine import MS, hexed

KEYS, PADS = 0, 1
STRINGS, BRASS = 0, 1
PORTS = """
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c" }
brass = { port = "d" }
"""


def rig(*scenes: str, more: str = "", form: int = 1) -> Engine:
    """An engine with these scenes, numbered from 1, each the text of its routes and whatever follows; 1 is in force.

    `form`: the format of the rig file.
    """
    listed = "".join(
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {text} ]\n'
        for number, text in enumerate(scenes, 1)
    )
    made = engine_of(read(f"format = {form}\n{PORTS}{more}{listed}", "test"))
    recall(made, 0, 1)
    return made


def route(source: str, to: str, *through: str, name: str = "") -> str:
    label = f', name = "{name}"' if name else ""
    return f'{{ from = "{source}", to = "{to}", through = [ {", ".join(through)} ]{label} }}'


TO_STRINGS, TO_BRASS = route("keys", "strings"), route("keys", "brass")
SOFT = '{ filter = "strip", kinds = ["poly_aftertouch"] }'


def play(made: Engine, at: float, source: int, *messages: str, output: int = STRINGS) -> list[str]:
    """What one output is sent for these messages at a time in ms."""
    return [
        sent
        for message in messages
        for sent in hexed(made.receive(round(at * MS), source, bytes.fromhex(message)), output)
    ]


def later(made: Engine, at: float, output: int = STRINGS) -> list[str]:
    """What one output is sent by a time in ms."""
    sent: list[str] = []
    while made.due is not None and made.due <= at * MS:
        sent += hexed(made.tick(made.due), output)
    return sent


def scene(made: Engine, at: float, number: int, output: int = STRINGS) -> list[str]:
    return hexed(recall(made, round(at * MS), number), output)


@pytest.mark.parametrize(
    ("first", "then", "rest"),
    [
        ("B0 0B 14", "B0 0B 28", "B0 0B 7F"),
        ("B0 01 33", "B0 01 44", "B0 01 00"),
        ("E0 00 50", "E0 00 60", "E0 00 40"),
        ("D0 20", "D0 30", "D0 00"),
        ("B0 4A 20", "B0 4A 30", None),
        ("B0 07 50", "B0 07 60", None),
    ],
)
def test_what_shapes_a_held_note_goes_on_reaching_it(first: str, then: str, rest: str | None) -> None:
    """A recall leaves the note as it is; the hand that plays it goes on shaping it, and half a second after its end
    the channel comes to rest."""
    made = rig(TO_STRINGS, TO_BRASS)
    assert play(made, 1, KEYS, "90 3C 40", first) == ["90 3C 40", first]
    assert scene(made, 2, 2) == []
    assert play(made, 3, KEYS, then) == [then]
    assert play(made, 4, KEYS, "80 3C 40") == ["80 3C 40"]
    assert later(made, 503) == []
    assert later(made, 504) == ([rest] if rest else [])
    assert play(made, 600, KEYS, then) == []


@pytest.mark.parametrize("pedal", ["40", "42", "45"])
def test_a_chord_under_a_pedal_rings_until_the_pedal_is_up(pedal: str) -> None:
    """Sustain (64), sostenuto (66) and hold 2 (69) hold a chord through a recall, with all that shapes it."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, "90 3C 40", f"B0 {pedal} 7F", "80 3C 40")
    assert scene(made, 2, 2) == []
    assert play(made, 3, KEYS, "B0 0B 20") == ["B0 0B 20"]
    assert play(made, 4, KEYS, f"B0 {pedal} 00") == [f"B0 {pedal} 00"]
    assert later(made, 504) == ["B0 0B 7F"]


def test_a_sostenuto_pedal_holds_only_what_was_down() -> None:
    """A note that was released before, or pressed after, does not ring (MIDI 1.0, p. 14)."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, "B0 42 7F", "90 3C 40", "80 3C 40", "B0 0B 20")
    assert sorted(scene(made, 2, 2)) == ["B0 0B 7F", "B0 42 00"]


def test_the_filters_of_the_old_scene_stay_with_the_note() -> None:
    """The gesture goes through the filters by which the note was played, to the channel where it sounds."""
    old = route(
        "keys", "strings", '{ filter = "channels", map = { 1 = 3 } }', '{ filter = "transpose", semitones = 12 }'
    )
    made = rig(old, TO_BRASS)
    assert play(made, 1, KEYS, "90 3C 40") == ["92 48 40"]
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "B0 01 22", "A0 3C 11") == ["B2 01 22", "A2 48 11"]


def test_nothing_is_fed_twice_where_both_scenes_lead() -> None:
    """Where the old and the new scene lead to one channel, each value goes there once."""
    made = rig(TO_STRINGS, f"{TO_STRINGS}, {TO_BRASS}")
    play(made, 1, KEYS, "90 3C 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "B0 01 22") == ["B0 01 22"]
    assert play(made, 3, KEYS, "B0 01 23", output=BRASS) == ["B0 01 23"]


def test_a_channel_is_theirs_whose_notes_sound() -> None:
    """What another player's wheel would set on a channel waits until the held note of the scene before is silent."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, "B0 0B 64", "90 3C 40")
    assert scene(made, 2, 2) == []
    assert play(made, 3, PADS, "B0 0B 14", "90 40 40") == ["90 40 40"]
    assert play(made, 4, PADS, "80 40 40") == ["80 40 40"]
    assert play(made, 5, KEYS, "80 3C 40") == ["80 3C 40"]
    assert later(made, 600) == ["B0 0B 14"]


@pytest.mark.parametrize("message", ["B0 40 7F", "B0 01 33", "B0 0B 20", "E0 00 50", "D0 20", "B0 07 50"])
def test_what_a_scene_newly_reaches_is_told_where_the_hand_is(message: str) -> None:
    """The first note there finds pedals, wheels and faders where they are; a second recall tells nothing again."""
    made = rig(TO_STRINGS, TO_BRASS, f"{TO_BRASS}, {TO_STRINGS}")
    play(made, 1, KEYS, message)
    assert scene(made, 2, 2, BRASS) == [message]
    assert scene(made, 3, 3, BRASS) == []


def test_positions_go_through_the_filters_of_the_new_scene() -> None:
    """What is sent is what the new scene makes of it; what it stops is not sent."""
    only = '{ filter = "controllers", drop = [64] }, { filter = "channels", map = { 1 = 5 } }'
    made = rig(TO_STRINGS, route("keys", "brass", only))
    play(made, 1, KEYS, "B0 40 7F", "B0 01 33")
    assert scene(made, 2, 2, BRASS) == ["B4 01 33"]


def test_an_expression_pedal_that_did_not_move_is_where_it_was() -> None:
    """Back in the first scene, expression is where the foot is, and not at 127."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, "B0 0B 28")
    assert scene(made, 2, 2) == ["B0 0B 7F"]
    assert scene(made, 3, 1) == ["B0 0B 28"]


def test_a_note_that_begins_on_a_fading_channel_finds_it_settled() -> None:
    """Before the next note the channel is sent what is to come to rest, though half a second is not over."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, "E0 00 50", "90 3C 40")
    scene(made, 2, 2)
    play(made, 3, KEYS, "80 3C 40")
    assert play(made, 4, PADS, "90 40 40") == ["E0 00 40", "90 40 40"]


def test_a_pedal_that_is_down_holds_the_first_note_of_a_new_player() -> None:
    """Its player's pedal is sent before their first note, also where another note still sounds."""
    made = rig(f"{TO_STRINGS}, {route('pads', 'brass')}", route("pads", "strings"))
    play(made, 1, PADS, "B0 40 7F")
    play(made, 1, KEYS, "90 3C 40")
    assert scene(made, 2, 2) == []
    assert play(made, 3, PADS, "90 40 40") == ["B0 40 7F", "90 40 40"]


def test_a_muted_route_lets_held_notes_keep_their_gesture() -> None:
    """A mute is for what is played from now on."""
    made = rig(route("keys", "strings", name="pad"))
    play(made, 1, KEYS, "90 3C 40", "E0 00 50")
    mute(made, 2 * MS, "pad", True)
    assert play(made, 3, KEYS, "E0 00 60", "90 3E 40", "80 3C 40") == ["E0 00 60", "80 3C 40"]
    assert later(made, 503) == ["E0 00 40"]


def test_a_pedal_that_has_become_a_command_still_ends_what_it_holds() -> None:
    """In the new scene the sustain pedal recalls scenes; the chord that it holds ends with it all the same."""
    control = '[[controls]]\ninput = "keys"\nwhen = { controller = 64 }\ndo = "panic"\nscenes = [2]\n'
    made = rig(TO_STRINGS, TO_BRASS, more=control)
    play(made, 1, KEYS, "90 3C 40", "B0 40 7F", "80 3C 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "B0 40 00") == ["B0 40 00"]


def test_after_a_panic_nothing_rings() -> None:
    """What rang under a pedal is over: a scene that leads another player there sets their level at once."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, "B0 40 7F", "90 3C 40", "80 3C 40")
    play(made, 2, PADS, "B0 07 50")
    a_panic(made)
    later(made, 1000)
    assert scene(made, 1001, 2) == ["B0 07 50"]


def test_after_sleep_nothing_rings() -> None:
    """What rang under a pedal when the computer fell asleep has no say any more: a wheel moves the next notes."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, "B0 40 7F", "90 3C 40", "80 3C 40")
    scene(made, 2, 2)
    assert hexed(wake_up(made, 3 * MS)[1], STRINGS) == ["B0 40 00"]
    assert play(made, 4, PADS, "E0 00 64") == ["E0 00 64"]


def test_what_a_filter_holds_keeps_the_gesture_of_its_hand() -> None:
    """The filter `sustain` holds a note whose key is up; its player bends it in the next scene, too."""
    made = rig(route("keys", "strings", '{ filter = "sustain" }'), TO_BRASS, form=2)
    assert play(made, 1, KEYS, "B0 40 7F", "90 3C 40", "80 3C 40") == ["90 3C 40"]
    assert scene(made, 2, 2) == []
    assert play(made, 3, KEYS, "E0 00 64", "B0 40 00") == ["E0 00 64", "80 3C 40"]
    assert later(made, 600) == ["E0 00 40"]


def test_the_pressure_of_a_key_ends_with_its_note() -> None:
    """A key is pressed hard, let go in the next scene, which leads it nowhere, and pressed again there, with no force:
    no route says so to the instrument. Back in the first scene nothing is left of the hard pressure all the same."""
    made = rig(TO_STRINGS, "")
    play(made, 1, KEYS, "90 33 40", "A0 33 7F")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "80 33 40", "90 33 40", "A0 33 00") == ["80 33 40"]
    assert scene(made, 4, 1) == ["A0 33 00"]
    assert play(made, 5, KEYS, "80 33 40", "90 33 40") == ["90 33 40"]


def test_the_pressure_of_a_key_stays_while_its_note_fades() -> None:
    """Where the scene in force leads the key as well, its pressure rests half a second after its note, and stays
    while the note sounds."""
    made = rig(TO_STRINGS, f"{TO_STRINGS}, {TO_BRASS}")
    play(made, 1, KEYS, "90 33 40", "A0 33 7F")
    assert scene(made, 2, 2) == []
    assert later(made, 1000) == []
    assert play(made, 1001, KEYS, "80 33 40") == ["80 33 40"]
    assert later(made, 1500) == []
    assert later(made, 1501) == ["A0 33 00"]


@pytest.mark.parametrize("player", [KEYS, PADS])
def test_no_note_begins_with_the_pressure_of_an_earlier_one(player: int) -> None:
    """A key is struck again on a channel where another note of the scene before still sounds: whoever strikes it, it
    begins without the pressure that its last note has left. Other keys keep theirs."""
    made = rig(TO_STRINGS, f"{route('keys', 'strings', SOFT)}, {route('pads', 'strings')}")
    play(made, 1, KEYS, "90 30 40", "A0 30 50", "90 33 40", "A0 33 7F", "80 33 40")
    assert scene(made, 2, 2) == []
    assert play(made, 3, player, "90 33 40") == ["A0 33 00", "90 33 40"]


@pytest.mark.parametrize("sounding", [("B0 40 7F", "90 33 40", "A0 33 7F", "80 33 40"), ("90 33 40", "A0 33 7F")])
def test_a_key_that_sounds_keeps_its_pressure(sounding: tuple[str, ...]) -> None:
    """A key is struck that another player still holds, or whose note rings under their pedal: that note is left as it
    is."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, *sounding)
    assert scene(made, 2, 2) == []
    assert play(made, 3, PADS, "90 33 40") == ["90 33 40"]


def test_cut_ends_the_pressure_of_a_key() -> None:
    """`held = "cut"` ends a key's own pressure with its note, though the new scene leads there as well."""
    made = rig(TO_STRINGS, f'{TO_STRINGS} ]\nheld = "cut" #')
    play(made, 1, KEYS, "90 3C 40", "A0 3C 50")
    assert scene(made, 2, 2) == ["80 3C 40", "A0 3C 00"]


def test_cut_ends_the_pressure_of_a_key_at_once() -> None:
    """It does not wait until the inputs are settled."""
    made = rig(TO_STRINGS, f'{TO_STRINGS} ]\nheld = "cut" #')
    play(made, 1, KEYS, "90 3C 40", "A0 3C 50")
    assert hexed(made.apply(2 * MS, RecallScene(2)).deliveries, STRINGS) == ["80 3C 40", "A0 3C 00"]


def test_cut_ends_a_chord_under_a_pedal() -> None:
    """`held = "cut"` lifts the pedal for what rings under it; where the new scene leads, the pedal is then told."""
    made = rig(TO_STRINGS, f'{TO_STRINGS} ]\nheld = "cut" #')
    play(made, 1, KEYS, "90 3C 40", "B0 40 7F", "80 3C 40", "90 40 40")
    assert scene(made, 2, 2) == ["80 40 40", "B0 40 00", "B0 40 7F"]


def a_panic(made: Engine) -> None:
    command(made, 3 * MS, "panic", None, "test")


def a_pulled_cable(made: Engine) -> None:
    input_lost(made, 3 * MS, KEYS)


@pytest.mark.parametrize("ends", [a_panic, a_pulled_cable])
def test_a_gesture_ends_with_its_notes(ends: Callable[[Engine], None]) -> None:
    """After a panic or a pulled cable, the wheel no longer reaches the old scene's channel."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, "90 3C 40", "E0 00 50")
    scene(made, 2, 2)
    ends(made)
    assert play(made, 4, KEYS, "E0 00 60") == []
    assert later(made, 2000) == []


def test_an_output_that_is_back_is_told_the_positions() -> None:
    """After the sweep and the sounds, pedals and wheels that are off rest are sent again."""
    made = rig(TO_STRINGS)
    play(made, 1, KEYS, "B0 40 7F", "B0 0B 20")
    assert hexed(output_there(made, 2 * MS, STRINGS), STRINGS)[-2:] == ["B0 0B 20", "B0 40 7F"]


def test_send_again_tells_the_positions_again() -> None:
    """`resend` repeats what pedals and wheels have set."""
    made = rig(TO_STRINGS)
    play(made, 1, KEYS, "B0 40 7F", "B0 0B 20")
    assert hexed(command(made, 2 * MS, "resend", None, "test")[1], STRINGS) == ["B0 0B 20", "B0 40 7F"]


def test_rest_is_what_the_rig_has_set_up() -> None:
    """Rest undoes what hands and feet moved, and not what the set-up of an instrument says."""
    lead = '[instruments.lead]\noutput = "strings"\nchannel = 1\nsetup = ["B0 0B 50"]\n'
    made = rig(TO_STRINGS, TO_BRASS, more=lead)
    play(made, 1, KEYS, "B0 0B 20")
    assert scene(made, 2, 2) == ["B0 0B 50"]


def test_a_note_in_the_moments_after_a_recall_begins_without_what_others_have_left() -> None:
    """The channel is another player's now, whose first note comes before the recall has told everything."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, "E0 00 00", "B0 40 7F", "B0 0B 14")
    made.apply(2 * MS, RecallScene(2))
    sent = play(made, 2, PADS, "90 3C 40")
    assert (sorted(sent[:-1]), sent[-1]) == (["B0 0B 7F", "B0 40 00", "E0 00 40"], "90 3C 40")


def test_a_pedal_that_nobody_is_left_to_lift_comes_up() -> None:
    """A pedal holds another player's note only while its own player plays there, or leads there."""
    made = rig(f"{TO_STRINGS}, {route('pads', 'strings')}", TO_BRASS)
    play(made, 1, PADS, "B0 40 7F", "90 40 40")
    play(made, 1, KEYS, "90 3C 40")
    assert scene(made, 2, 2) == []
    assert play(made, 3, PADS, "80 40 40") == ["80 40 40"]
    assert play(made, 4, PADS, "B0 40 00") == ["B0 40 00"]
    play(made, 5, PADS, "B0 40 7F")
    assert play(made, 6, KEYS, "80 3C 40") == ["80 3C 40"]
    assert later(made, 600) == []


def test_the_oldest_note_of_a_channel_has_the_say() -> None:
    """Where notes of two older scenes share a channel, the routes of the first shape it until it is silent."""
    second = route("keys", "strings", '{ filter = "channels", map = { 2 = 1 }, keep = [2] }')
    made = rig(TO_STRINGS, second, TO_BRASS)
    play(made, 1, KEYS, "90 3C 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "91 40 40") == ["90 40 40"]
    scene(made, 4, 3)
    assert play(made, 5, KEYS, "B1 4A 40") == []
    assert play(made, 6, KEYS, "B0 4A 20") == ["B0 4A 20"]


def test_what_has_no_rest_is_told_once() -> None:
    """A foot controller or fader that did not move is not sent again by a recall that changes other routes."""
    everywhere = '[[routes]]\nfrom = "pads"\nto = "strings"\n'
    made = rig("", route("pads", "brass"), more=everywhere)
    play(made, 1, PADS, "B3 04 00", "B3 4A 28")
    assert scene(made, 2, 2) == []


def test_two_channels_of_an_input_have_pedals_of_their_own() -> None:
    """Where both arrive on one channel, the pedal is down until both have released it."""
    made = rig(route("keys", "strings", '{ filter = "channels", map = { 2 = 1 } }'))
    assert play(made, 1, KEYS, "B0 40 7F", "B1 40 7F", "B0 40 00") == ["B0 40 7F"]
    assert play(made, 2, KEYS, "B1 40 00") == ["B0 40 00"]


def test_the_say_is_about_what_arrives() -> None:
    """An older note's breath controller arrives as modulation: another player's modulation wheel waits."""
    as_wheel = '{ filter = "controllers", drop = [1], map = { 2 = 1 } }'
    made = rig(route("pads", "strings", as_wheel), TO_STRINGS)
    play(made, 1, PADS, "90 40 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "B0 01 28") == []
    assert play(made, 4, PADS, "B0 02 30") == ["B0 01 30"]


@pytest.mark.parametrize("message", ["B0 40 7F", "B0 0B 20"])
def test_what_two_players_have_alike_stays_when_one_leaves(message: str) -> None:
    """The pedals of two players are in the same place, and one takes the other's turn: it stays there."""
    made = rig(TO_STRINGS, route("pads", "strings"))
    play(made, 1, KEYS, message)
    scene(made, 2, 2)
    assert play(made, 3, PADS, message) == [message]
    assert scene(made, 4, 1) == []
    assert play(made, 5, KEYS, "90 3C 40") == ["90 3C 40"]


def test_the_first_recall_after_a_panic_tells_where_the_hands_are() -> None:
    """A panic leaves all at rest until something moves; the next scene finds the foot where it is, old route or not."""
    made = rig(TO_STRINGS, TO_STRINGS)
    play(made, 1, KEYS, "B0 0B 28")
    a_panic(made)
    assert play(made, 4, KEYS, "90 3C 40", "80 3C 40") == ["90 3C 40", "80 3C 40"]
    assert scene(made, 5, 2) == ["B0 0B 28"]
    assert scene(made, 6, 1) == []


def test_a_panic_right_after_a_recall_leaves_everything_at_rest() -> None:
    """What a recall has yet to send in the moments after it is dropped; the next recall sends it."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, "B0 0B 14", "B0 40 7F")
    made.apply(2 * MS, RecallScene(2))
    command(made, 2, "panic")
    assert later(made, 1000, BRASS) == []
    assert sorted(scene(made, 1001, 1)) == ["B0 0B 14", "B0 40 7F"]


def test_a_pedal_comes_up_that_no_route_leads_to_its_notes_any_more() -> None:
    """A pedal went down by a route that is gone, under a note whose own route stops pedals: it still comes up."""
    made = rig(route("keys", "strings", '{ filter = "strip", kinds = ["controller 64"] }'), TO_STRINGS)
    play(made, 1, KEYS, "90 3C 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "B0 40 7F") == ["B0 40 7F"]
    scene(made, 4, 1)
    play(made, 5, KEYS, "80 3C 40")
    assert play(made, 6, KEYS, "B0 40 00") == ["B0 40 00"]


def test_a_note_under_a_pedal_is_no_older_than_it_is() -> None:
    """A key that was pressed later, and has come up, makes no older note wait whose key is down."""
    shifted = route("keys", "strings", '{ filter = "channels", map = { 1 = 3 }, keep = [1] }')
    made = rig(route("keys", "strings", '{ filter = "channels", keep = [3] }'), shifted)
    play(made, 1, KEYS, "B2 40 7F", "92 39 40")
    scene(made, 2, 2)
    assert play(made, 3, KEYS, "90 38 40", "80 38 40") == ["92 38 40", "82 38 40"]
    assert play(made, 4, KEYS, "B0 0B 20") == []
    assert play(made, 5, KEYS, "B2 0B 30") == ["B2 0B 30"]


def test_reset_all_controllers_counts_where_it_leads_nowhere() -> None:
    """Pedals and wheels are at rest then (RP-015), and a scene that reaches something has nothing to tell."""
    made = rig("", TO_STRINGS)
    play(made, 1, KEYS, "B0 0B 00", "B0 79 00")
    assert scene(made, 2, 2) == []


ON_CHANNEL_2 = route("keys", "strings", '{ filter = "channels", map = { 1 = 2 } }')


def test_what_all_sound_off_has_silenced_is_shaped_no_more() -> None:
    """The key is still down, but no note of it sounds: what its hand moves in another scene is for that alone. What
    releases the key is sent all the same, and holds nothing under a pedal."""
    made = rig(ON_CHANNEL_2, TO_BRASS)
    play(made, 1, KEYS, "B0 40 7F", "90 3C 40", "B0 78 00")
    assert scene(made, 2, 2) == ["B1 40 00"]
    assert play(made, 1000, KEYS, "E0 00 64", "A0 3C 50") == []
    assert play(made, 1001, KEYS, "80 3C 40") == ["81 3C 40"]
    assert play(made, 1002, KEYS, "E0 00 30") == []
    later(made, 2000)
    assert not made.waiting


def test_what_was_silenced_does_not_ring_when_it_is_ended_once_more() -> None:
    """All Sound Off in the next scene, too: under another player's pedal nothing rings for it, and what that player
    leaves comes to rest at once."""
    made = rig(TO_STRINGS, route("pads", "strings"), TO_BRASS)
    play(made, 1, KEYS, "90 3C 40", "B0 78 00")
    scene(made, 1000, 2)
    play(made, 1001, PADS, "E0 00 00", "B0 40 7F")
    assert play(made, 1002, KEYS, "B0 78 00") == ["80 3C 40"]
    assert sorted(scene(made, 1003, 3)) == ["B0 40 00", "E0 00 40"]


def test_what_another_players_note_keeps_waiting_is_told_in_the_silence() -> None:
    """The pads play brass as before when the keys come there, too: where their pedals are waits for the note's end."""
    made = rig(route("pads", "brass"), f"{route('pads', 'brass')}, {TO_BRASS}")
    play(made, 1, KEYS, "B0 0B 20")
    play(made, 1, PADS, "90 3C 40")
    assert scene(made, 2, 2, BRASS) + later(made, 3, BRASS) == []
    assert play(made, 4, PADS, "80 3C 40", output=BRASS) == ["80 3C 40"]
    assert later(made, 503, BRASS) == []
    assert later(made, 504, BRASS) == ["B0 0B 20"]


@pytest.mark.parametrize("pedal", ["41", "42", "43"])
def test_a_pedal_that_was_left_comes_up_with_its_last_note(pedal: str) -> None:
    """A pedal under which nothing rings on, and which leads elsewhere now: the next note there finds it up, and need
    not wait for silence to have lasted."""
    made = rig(TO_STRINGS, TO_BRASS)
    play(made, 1, KEYS, f"B0 {pedal} 7F", "90 3C 40")
    scene(made, 2, 2)
    assert later(made, 3) == []
    assert play(made, 4, KEYS, "80 3C 40") == ["80 3C 40"]
    assert later(made, 5) == [f"B0 {pedal} 00"]


def test_what_all_notes_off_leaves_to_a_pedal_beside_other_notes_is_shaped_on() -> None:
    """While another player holds keys, All Notes Off is for this player's own notes; under a pedal they ring on, and
    keep the gesture of their hand."""
    made = rig(f"{TO_STRINGS}, {route('pads', 'strings')}", f"{TO_STRINGS}, {route('pads', 'brass')}")
    play(made, 1, KEYS, "90 30 40")
    play(made, 1, PADS, "B0 40 7F", "90 3C 40", "B0 7B 00")
    scene(made, 2, 2)
    assert play(made, 3, PADS, "E0 00 64") == ["E0 00 64"]


def test_what_all_notes_off_leaves_to_a_pedal_is_shaped_on() -> None:
    """Under a pedal All Notes Off ends nothing (MIDI 1.0, p. 24): its notes keep the gesture of their hand, on whatever
    channel it leads them."""
    made = rig(ON_CHANNEL_2, TO_BRASS)
    play(made, 1, KEYS, "B0 40 7F", "90 3C 40", "B0 7B 00")
    assert scene(made, 2, 2) == []
    assert play(made, 3, KEYS, "E0 00 64", "80 3C 40", "E0 00 30") == ["E1 00 64", "81 3C 40", "E1 00 30"]
    assert play(made, 4, KEYS, "B0 40 00") == ["B1 40 00"]
    assert later(made, 504) == ["E1 00 40"]
