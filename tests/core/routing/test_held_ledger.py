"""What a scene leaves behind: pedals, wheels, pressures, parameter numbers, held notes, and the current sounds."""

import pickle
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.engine import Engine
from engine.core.routing.held_ledger import Ledger
from engine.core.routing.sent_values import Moved, made_of, moves_of
from engine.midi.rest_values import rest_of
from engine.rig.read.load import read
from tests.support.check_values import check_value, check_values
from tests.support.engine_calls import adopt, command, engine_of, finish, input_lost, output_there, recall
from tests.support.pit_engine import PORTS, ears, engine, hexed, run_dry
from tests.support.played_engine import PlayedEngine
from tests.support.random_rigs import HEAD, events, rigs
from tests.support.receiver import Receiver

STRINGS = 0
KEYS, PADS, FOOT = 0, 1, 2

ALL = '{ from = ["keys", "pads"], to = "strings" }'


def two(first: str = ALL, second: str = "", held: str = "ring", cable: str = "fast") -> Engine:
    """Two scenes without bursts; the first is in force."""
    made = engine(
        f'[[scenes]]\nnumber = 1\nname = "One"\nroutes = [ {first} ]\n'
        f'[[scenes]]\nnumber = 2\nname = "Two"\nroutes = [ {second} ]\nheld = "{held}"\n',
        cable,
    )
    recall(made, 0, 1)
    return made


def _resets() -> list[tuple[int, int]]:
    return [(one.input["controller"], one.expected) for one in check_values("reset-", given="controller")]


@pytest.mark.parametrize(("controller", "rest"), _resets())
def test_controllers_rest_where_the_standard_says(controller: int, rest: int) -> None:
    """A controller that the next scene does not feed goes to the value that Reset All Controllers gives it (RP-015)."""
    router = two()
    away = 100 if rest == 0 else 3
    router.receive(1, KEYS, bytes((0xB4, controller, away)))
    assert hexed(recall(router, 2, 2)) == [f"B4 {controller:02X} {rest:02X}"]
    assert recall(router, 3, 2) == []


@pytest.mark.parametrize(
    ("moved", "rest"),
    [
        ("E3 01 40", f"E3 {check_value('reset-bend').expected['bytes']}"),
        ("D3 50", f"D3 {check_value('reset-pressure').expected:02X}"),
        ("A3 3C 50", f"A3 3C {check_value('reset-pressure').expected:02X}"),
        ("B3 44 7F", "B3 44 00"),  # legato pedal: common practice, no source
        ("B3 45 7F", "B3 45 00"),  # hold 2: common practice, no source
        ("B3 02 7F", "B3 02 00"),  # breath: common practice, no source
    ],
)
def test_bends_and_pressures_rest_where_the_standard_says(moved: str, rest: str) -> None:
    """Bend rests at 8192, pressures at 0 (RP-015)."""
    router = two()
    router.receive(1, KEYS, bytes.fromhex(moved))
    assert hexed(recall(router, 2, 2)) == [rest]


@pytest.mark.parametrize(("low", "high", "rest"), [(33, 1, 0), (34, 2, 0), (43, 11, 127)])
def test_a_low_byte_rests_with_its_high_byte(low: int, high: int, rest: int) -> None:
    """A low byte that was moved comes to rest with its high byte, which zeroes it (MIDI 1.0 p. 12)."""
    router = two()
    router.receive(1, KEYS, bytes((0xB0, low, 5)))
    assert hexed(recall(router, 2, 2)) == [f"B0 {high:02X} {rest:02X}"]


def test_a_foot_controller_is_left_where_the_foot_has_it() -> None:
    """RP-015 does not name controller 4, which may be the level of a part: no scene sets it to 0."""
    router = two()
    for message in ("B3 04 64", "B3 24 05"):
        router.receive(1, KEYS, bytes.fromhex(message))
    assert recall(router, 2, 2) == []


def test_what_reset_all_controllers_leaves_alone_is_left_alone() -> None:
    """Bank, volume, pan, sound and effect controllers do not need a rest: the next scene keeps them (RP-015)."""
    kept = [
        number
        for entry in check_values("reset-keeps-", given="controllers")
        for number in entry.input["controllers"]
        if number < 120
    ]
    assert {0, 32, 7, 10, 74, 91} <= set(kept)
    router = two()
    for number in kept:
        router.receive(1, KEYS, bytes((0xB0, number, 77)))
    router.receive(1, KEYS, b"\xc0\x05")
    assert (recall(router, 2, 2) or "unchanged") == check_value("reset-keeps-program").expected


def test_an_open_parameter_is_closed() -> None:
    """A parameter left open is closed with the null parameter, so that a stray data entry changes nothing
    (MIDI Association Table 3a, entry rpn-null)."""
    router = two()
    for message in ("B0 65 00", "B0 64 00", "B0 06 02"):
        router.receive(1, KEYS, bytes.fromhex(message))
    assert hexed(recall(router, 2, 2)) == check_value("rpn-null").input[:2]


def test_a_parameter_that_its_player_closed_is_left_alone() -> None:
    """After a whole transaction there is nothing left to close (MIDI 1.0 p. 17)."""
    router = two()
    for message in ("B0 65 00", "B0 64 00", "B0 06 02", "B0 65 7F", "B0 64 7F"):
        router.receive(1, KEYS, bytes.fromhex(message))
    assert recall(router, 2, 2) == []


def test_held_notes_ring() -> None:
    """By default a held key sounds on until its release, whatever the new scene routes."""
    router = two(held="ring")
    router.receive(1, KEYS, b"\x90\x3c\x40")
    assert recall(router, 2, 2) == []
    assert hexed(router.receive(3, KEYS, b"\x80\x3c\x20")) == ["80 3C 20"]


def test_held_notes_are_cut_where_the_scene_says_so() -> None:
    """`held = "cut"`: every held key gets its note-off at the change, and its later release is not passed on."""
    router = two(held="cut")
    router.receive(1, KEYS, b"\x90\x3c\x40")
    router.receive(1, PADS, b"\x90\x40\x40")
    assert hexed(recall(router, 2, 2)) == ["80 3C 40", "80 40 40"]
    assert router.receive(3, KEYS, b"\x80\x3c\x20") == []
    assert router.receive(3, PADS, b"\x80\x40\x20") == []


def test_the_release_of_a_cut_note_does_not_cut_what_the_same_player_plays_since() -> None:
    """The left hand holds a key over the cut; the right hand plays the same note an octave above. Releasing the first
    key leaves the note alone (MIDI 1.0 p. A-4: each press its own release)."""
    up = '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 12 } ] }'
    router = two(second=up, held="cut")
    router.receive(1, KEYS, b"\x90\x3c\x40")
    recall(router, 2, 2)
    assert hexed(router.receive(3, KEYS, b"\x90\x30\x40")) == ["90 3C 40"]
    assert router.receive(4, KEYS, b"\x80\x3c\x40") == []
    assert hexed(router.receive(5, KEYS, b"\x80\x30\x40")) == ["80 3C 40"]


ENDINGS: dict[str, Callable[[Engine], list[Delivery]]] = {
    "cut": lambda router: recall(router, 9, 2),
    "unplugged": lambda router: [*input_lost(router, 9, KEYS), *input_lost(router, 9, PADS)],
    "the end": lambda router: finish(router, 9),
}


@pytest.mark.parametrize("end", ENDINGS.values(), ids=ENDINGS)
def test_a_key_is_ended_once_however_often_it_was_pressed(end: Callable[[Engine], list[Delivery]]) -> None:
    """Pads that never send a note-off, one of two players' keys, releases held back: each key gets one note-off when
    all ends at once. (Common practice, no source: a note-off ends every voice of its key.)"""
    router = two(held="cut")
    for _ in range(2000):
        router.receive(1, PADS, b"\x90\x24\x40")
        router.receive(1, PADS, b"\x90\x26\x40")
    router.receive(1, KEYS, b"\x90\x3c\x40")
    assert hexed(end(router)) in (["80 24 40", "80 26 40", "80 3C 40"], ["80 3C 40", "80 24 40", "80 26 40"])
    assert router.receive(10, PADS, b"\x80\x24\x40") == [] or router.state.main.in_force == (1, "One")


def test_a_key_of_two_players_is_cut_once() -> None:
    """A key that two players pressed is cut with one note-off, and their late releases end nothing."""
    router = two(held="cut")
    for source in (KEYS, PADS):
        router.receive(1, source, b"\x90\x3c\x40")
    router.receive(2, KEYS, b"\x80\x3c\x40")
    assert hexed(recall(router, 3, 2)) == ["80 3C 40"]
    assert router.receive(4, PADS, b"\x80\x3c\x40") == []


def test_what_an_unplugged_player_shares_sounds_on() -> None:
    """A key that two players hold sounds on when one is unplugged; the other's release brings one note-off for each."""
    router = two()
    for source in (KEYS, KEYS, KEYS, PADS):
        router.receive(1, source, b"\x90\x3c\x40")
    assert input_lost(router, 2, KEYS) == []
    assert hexed(router.receive(3, PADS, b"\x80\x3c\x40")) == ["80 3C 40", "80 3C 40"]


VELOCITIES = ", ".join(
    f'{{ from = "pads", to = "strings", through = [ {{ filter = "zone", velocity = {range} }}{up} ] }}'
    for range, up in (("[1, 63]", ""), ("[64, 127]", ', { filter = "transpose", semitones = 12 }'))
)


def test_note_ons_without_note_offs_fill_neither_memory_nor_the_cable() -> None:
    """After 60,000 note-ons of four pads in two velocity zones, without a note-off, the ledger is as large as after
    60, and a panic sends no more."""
    sizes = []
    for many in (60, 60_000):
        router = two(VELOCITIES)
        for number in range(many):
            router.receive(1, PADS, bytes((0x99, 36 + number // 2 % 4, 40 + 60 * (number % 2))))
        sizes.append((len(pickle.dumps(router.state.ledger)), len(command(router, 2, "panic", None, "test")[1])))
    (small, few), (large, many_more) = sizes
    assert few == many_more
    assert large < small + 100


@given(rigs(), events, st.booleans())
@settings(max_examples=40)
def test_after_a_cut_nothing_sounds_at_once(rig: str, stream: list[Any], played_on: bool) -> None:
    """A scene that cuts is silent once the cables are empty, though every key is held; a note played then sounds until
    its own release, and no late release cuts it."""
    played = PlayedEngine(rig.replace('name = "Empty"', f'name = "Empty"\nheld = "cut"\nroutes = [ {ALL} ]'))
    played.perform(stream)
    played.recall(3)  # so that the cut is a change
    played.recall(4)
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]
    late = list(played.down.elements())
    played.down.clear()
    if played_on:
        played.play(0, b"\x92\x3c\x40")
    for source, channel, key in late:
        if (source, channel, key) != (0, 2, 0x3C):
            played.take(played.router.receive(played.now, source, bytes((0x80 | channel, key, 64))))
    played.run_dry()
    assert played.ears()[STRINGS].held == int(played_on)
    played.let_go()
    played.run_dry()
    assert [synth.held for synth in played.ears()] == [0, 0]


def _sound(unit: tuple[bytes, ...]) -> tuple[int, int, int]:
    synth = Receiver()
    for message in unit:
        synth.hear(message)
    (sound,) = synth.sound.values()
    return sound


@pytest.mark.slow
@given(rigs(), events)
@settings(max_examples=50)
def test_the_ledger_knows_what_each_channel_sounds_like(rig: str, stream: list[Any]) -> None:
    """Once the cables are empty, the recorded sounds are those that the receivers are on, banks included (MIDI 1.0
    p. 13: a bank acts at the next program change). Each burst goes out before the next recall."""
    played = PlayedEngine(rig)
    for event in stream:
        if event[1] == "recall":
            played.run_dry()
        played.perform([event])
    played.run_dry()
    for output, synth in enumerate(played.ears()):
        known = {channel: _sound(unit) for channel, unit in played.router.state.cables[output].sounds.items()}
        assert known == synth.sound


def _fed_nowhere(synth: Receiver, fed: Callable[[bytes], bool]) -> set[tuple[int, str, int]]:
    """What is off rest at a synth and cannot be moved by any message that is fed."""

    def mover(channel: int, what: str, number: int) -> list[bytes]:
        if what == "controller":
            return [bytes((0xB0 | channel, number, value)) for value in (0, 64, 127)]
        if what == "low byte":
            return [bytes((0xB0 | channel, each, 1)) for each in (number, number + 32)]
        if what == "key pressure":
            return [bytes((0xA0 | channel, number, 1))]
        return [bytes((0xD0 | channel, 1)) if what == "pressure" else bytes((0xE0 | channel, 1, 1))]

    return {one for one in synth.off_rest if not any(fed(message) for message in mover(*one))}


KEEPS = '{ from = "keys", to = "strings", through = [ { filter = "channels", keep = [1] } ] }'


@given(events, st.sampled_from(["din", "fast"]))
@settings(max_examples=40)
def test_nothing_is_off_rest_that_the_scene_cannot_move(stream: list[Any], cable: str) -> None:
    """In a scene that passes one channel of the keys, only this channel may be off rest once keys and pedals are up,
    whatever was played in scenes that pass everything; an independent synth is the judge (RP-015)."""
    rig = HEAD.replace("din", cable) + "".join(
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {routes} ]\n'
        for number, routes in enumerate((ALL, f"{ALL}, {KEEPS}", ALL.replace('"strings"', '"brass"'), KEEPS), 1)
    )
    played = PlayedEngine(rig)
    played.perform(stream)
    played.recall(4)
    played.let_go()
    played.lift_pedals()
    played.run_dry()
    strings, brass = played.ears()
    assert _fed_nowhere(strings, lambda message: message[0] & 0x0F == 0) == set()
    assert brass.off_rest == set()


THINNED = '{ from = "keys", to = "strings", through = [ { filter = "thin", milliseconds = 20 } ] }'
EVERYWHERE = '[[routes]]\nfrom = "keys"\nto = "strings"\nthrough = [ { filter = "thin", milliseconds = 20 } ]\n'


@pytest.mark.parametrize("everywhere", ["", EVERYWHERE], ids=["routes of each scene", "a route of every scene"])
@pytest.mark.parametrize("moved", ["B0 01 33", "B0 0B 50", "E0 12 50", "D0 20"])
def test_what_is_still_fed_through_thin_stays_where_it_is(moved: str, everywhere: str) -> None:
    """A wheel, bend or pressure that both scenes thin out is still fed after the recall, so nothing is set to rest."""
    routes = "" if everywhere else THINNED
    router = engine(
        f'{everywhere}[[scenes]]\nnumber = 1\nname = "One"\nroutes = [ {routes} ]\n'
        f'[[scenes]]\nnumber = 2\nname = "Two"\nroutes = [ {routes} ]\n'
    )
    recall(router, 0, 1)
    assert hexed(router.receive(1, KEYS, bytes.fromhex(moved))) == [moved]
    assert recall(router, 2, 2) == []
    assert router.state.ledger.off_rest() == 1


def test_everything_with_a_rest_has_one_of_its_own_channel() -> None:
    """The message that brings a controller to rest is on its channel and itself at rest; notes and programs have
    none."""
    for status in range(0x80, 0xF0):
        for number in range(128):
            message = bytes((status, number, 77)) if status & 0xE0 != 0xC0 else bytes((status, number))
            rest = rest_of(message)
            if rest is None:
                assert status & 0xF0 in (0x80, 0x90, 0xB0, 0xC0)
            else:
                assert rest[0] == status
                assert rest_of(rest) == rest


def test_a_wheel_at_rest_is_not_sent_again() -> None:
    """A control that the player has brought back to rest is not sent there again."""
    router = two()
    for message in ("B0 01 40", "E0 00 50", "B0 01 00", "E0 00 40"):
        router.receive(1, KEYS, bytes.fromhex(message))
    assert router.state.ledger.off_rest() == 0
    assert recall(router, 2, 2) == []


def test_residue_reaches_a_settling_instrument_last() -> None:
    """An instrument that the new scene sets to another sound gets the sound first, and the rest once it has settled;
    both arrive (common practice, no source)."""
    router = engine_of(
        read(
            PORTS.replace("WIRE", "din")
            + '[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = "keys", to = "strings" } ]\n'
            + '[[scenes]]\nnumber = 2\nname = "B"\nburst = [ { instrument = "lead", sound = "B" } ]\n',
            "test",
        )
    )
    out = recall(router, 0, 1)
    out += router.receive(1, KEYS, b"\xb0\x40\x7f") + router.receive(1, KEYS, b"\x90\x3c\x40")
    out += recall(router, 2, 2)
    now, rest = run_dry(router, 2)
    out += rest + router.receive(now, KEYS, b"\x80\x3c\x40") + router.receive(now, KEYS, b"\xb0\x40\x00")
    out += run_dry(router, now)[1]
    synth = ears(out)[STRINGS]
    assert (synth.off_rest, synth.held, synth.sound[0]) == (set(), 0, (2, 12, 21))


def test_a_lost_release_of_a_key_that_sounded_nowhere_haunts_nobody() -> None:
    """If a key was pressed where no route led and its release never came, it later plays and is released as usual."""
    router = engine()
    recall(router, 0, 3)  # no route
    router.receive(0, 0, b"\x90\x3c\x40")
    recall(router, 0, 1)
    assert hexed(router.receive(0, 0, b"\x90\x3c\x50"), 1) == ["90 3C 50"]
    assert hexed(router.receive(0, 0, b"\x80\x3c\x40"), 1) == ["80 3C 40"]
    assert router.state.ledger.sounding() == 0


SENT = '[[controls]]\ninput = "foot"\nwhen = { note = NOTE }\ndo = "send"\noutput = "strings"\nmessages = [ SENT ]\n'
ENDS: dict[str, Callable[[Engine], list[Delivery]]] = {
    "the show ends": lambda router: finish(router, 9),
    "panic": lambda router: command(router, 9, "panic", None, "test")[1],
    "the cable is put back": lambda router: output_there(router, 9, STRINGS, None),
}


def sending(note: int, *messages: str) -> str:
    """A control that sends these."""
    return SENT.replace("NOTE", str(note)).replace("SENT", ", ".join(f'"{message}"' for message in messages))


@pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)
def test_what_a_control_sent_does_not_hang(end: Callable[[Engine], list[Delivery]]) -> None:
    """A note, a pedal and a bend sent by a control are ended like a player's, but continue over a scene change and an
    edit, as they depend on no route; its bank and program become those of the channel."""
    scenes = '[[scenes]]\nnumber = 1\nname = "One"\n[[scenes]]\nnumber = 2\nname = "Two"\n'
    text = PORTS.replace("WIRE", "fast") + sending(36, "B0 20 07", "C0 05", "90 3C 64", "B0 40 7F", "E0 00 00") + scenes
    router = engine_of(read(text, "test"))
    recall(router, 0, 1)
    router.receive(1, FOOT, b"\x90\x24\x40")
    assert recall(router, 2, 2) == []
    assert adopt(router, 3, read(text.replace("Two", "Second"), "test")) == []
    assert router.state.cables[STRINGS].sounds == {0: (b"\xb0\x20\x07", b"\xc0\x05")}
    assert {"80 3C 40", "B0 40 00", "E0 00 40"} <= {*hexed(end(router))}
    assert hexed(finish(router, 10)) == []


def test_what_another_control_ended_is_not_ended_again() -> None:
    """If one control sends a note and another its end, nothing is left to release."""
    router = engine(sending(36, "90 3C 64") + sending(38, "80 3C 00") + '[[scenes]]\nnumber = 1\nname = "One"\n')
    recall(router, 0, 1)
    router.receive(1, FOOT, b"\x90\x24\x40")
    assert hexed(router.receive(2, FOOT, b"\x90\x26\x40")) == ["80 3C 00"]
    assert hexed(finish(router, 3)) == []


# Pedals, with a receiver that holds notes as MIDI 1.0 p. A-5 and GM2 3.3.7-9 say


class Piano:
    """One channel: what sounds when note-offs wait for the sustain pedal, and for sostenuto if the key was down."""

    def __init__(self) -> None:
        self.down: set[int] = set()
        self.ringing: set[int] = set()
        self.caught: set[int] = set()
        self.pedal = False

    def hear(self, message: bytes) -> set[int]:
        """The keys that sound after a message."""
        kind, number, value = message[0] & 0xF0, message[1], message[2]
        if kind == 0x90 and value:
            self.down.add(number)
        elif kind in (0x80, 0x90):
            self.ringing |= self.down & {number}
            self.down.discard(number)
        elif (kind, number) == (0xB0, 64):
            self.pedal = value >= 64
        elif (kind, number) == (0xB0, 66):
            self.caught = set(self.down) if value >= 64 else set()
        elif (kind, number) == (0xB0, 123):
            self.ringing |= self.down
            self.down.clear()
        if not self.pedal:
            self.ringing &= self.caught
        return self.down | self.ringing


def held_after(*messages: str) -> list[set[int]]:
    piano = Piano()
    return [piano.hear(bytes.fromhex(message)) for message in messages]


def test_the_piano_of_these_tests_follows_the_standard() -> None:
    """Sustain and sostenuto hold what they should, and All Notes Off waits for the pedal (pedal-64, pedal-66,
    mode-anof-hold)."""
    pedal, sostenuto = check_value("pedal-64"), check_value("pedal-66")
    *held, last = held_after(*pedal.input)
    assert all(held)
    assert ("note released by the last message" if not last else "note held") == pedal.expected
    *_, before, after = held_after(*sostenuto.input)
    assert (sorted(before), after) == (sostenuto.expected["held_until_pedal_up"], set())
    assert not before & {*sostenuto.expected["not_held"]}
    hold = check_value("mode-anof-hold")
    *held, last = held_after(*hold.input)
    assert ("note sounds until the last message" if all(held) and not last else "cut") == hold.expected


@pytest.mark.parametrize("name", ["pedal-64", "pedal-66", "mode-anof-hold"])
def test_no_pedal_stays_down_behind_a_recall(name: str) -> None:
    """Whatever a pedal holds when the scene changes rings on, and falls silent when the player's foot lifts it."""
    *played, last = check_value(name).input
    router, piano = two(), Piano()
    sounding: set[int] = set()
    for message in played:
        for _, sent, _ in router.receive(1, KEYS, bytes.fromhex(message)):
            sounding = piano.hear(sent)
    assert sounding
    assert recall(router, 2, 2) == []
    for _, sent, _ in router.receive(3, KEYS, bytes.fromhex(last)):
        sounding = piano.hear(sent)
    assert sounding == set()


def test_the_end_of_a_show_is_a_stop() -> None:
    """Notes end, and pedal and bend come back to rest (pedal-stop: MIDI 1.0 p. 31)."""
    entry, router = check_value("pedal-stop"), two()
    *played, _ = entry.input
    for message in played:
        router.receive(1, KEYS, bytes.fromhex(message))
    note, *rests = entry.expected
    off = f"80 {int(note.removeprefix('note off ')):02X} 40"
    assert hexed(finish(router, 2), STRINGS)[:3] == [off, *rests]


def test_what_sets_a_players_controls_to_rest_ends_no_note_that_a_filter_made() -> None:
    """Reset All Controllers of one of two players ends no notes (RP-015)."""
    ledger, pedal, note, bend = (
        Ledger(),
        bytes.fromhex("B4 40 7F"),
        bytes.fromhex("94 3C 40"),
        bytes.fromhex("E4 00 20"),
    )
    ledger.move(KEYS, pedal, made_of(STRINGS, (note,)))
    ledger.move(KEYS, bend, moves_of(STRINGS, (bend,)))
    ledger.move(PADS, bend, moves_of(STRINGS, (bytes.fromhex("E5 00 20"),)))
    assert ledger.rests_of(KEYS, STRINGS, 4) == [bytes.fromhex("E4 00 40")]
    assert ledger.rests_of(PADS, STRINGS, 4) == []


def test_reset_all_controllers_forgets_the_pedals_of_its_channel() -> None:
    """RP-015: the receiver's pedals are up, whoever had them down; those of another channel stay."""
    ledger, down = Ledger(), bytes.fromhex("B4 40 7F")
    pedals = [Moved(STRINGS, bytes((0xB0 | channel, 64))) for channel in (4, 5)]
    for pedal in pedals:
        ledger.turn_pedal(pedal, (KEYS, 4), (down, 127))
    ledger.reset((STRINGS, 4))
    assert [ledger.pedals.value(pedal) for pedal in pedals] == [0, 127]
