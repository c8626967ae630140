"""Two players on one channel, by examples: what the instrument gets."""

from collections.abc import Iterator

import pytest

import filters.thin
from engine.core.engine import Engine
from engine.core.rules import RULES_1
from engine.rig.read.load import read
from filters.registry import Later, registry
from tests.support.engine_calls import command, engine_of, input_lost, recall
from tests.support.pit_engine import PORTS, hexed
from tests.support.two_players import ANNA, BEN, BOTH, plays, scenes

# Pedals


def test_a_pedal_is_down_until_all_have_released_it() -> None:
    """Of two sustain pedals the first one that comes up does not lift the other."""
    router = scenes(BOTH)
    assert plays(router, ANNA, "B0 40 7F") == ["B0 40 7F"]
    assert plays(router, BEN, "B0 40 7F") == []
    assert plays(router, ANNA, "B0 40 00") == []
    assert plays(router, BEN, "B0 40 00") == ["B0 40 00"]


def test_the_highest_of_two_half_pedals_counts() -> None:
    """The channel gets the highest of the players' values, and only when that changes."""
    router = scenes(BOTH)
    assert plays(router, ANNA, "B0 40 30", "B0 40 50") == ["B0 40 30", "B0 40 50"]
    assert plays(router, BEN, "B0 40 20", "B0 40 60") == ["B0 40 60"]
    assert plays(router, BEN, "B0 40 00") == ["B0 40 50"]
    assert plays(router, ANNA, "B0 40 10", "B0 40 00") == ["B0 40 10", "B0 40 00"]


def test_an_unplugged_player_s_pedal_leaves() -> None:
    """The pedal of an input that is lost no longer counts, and the other's stays down."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 40 7F")
    plays(router, BEN, "B0 40 50")
    assert hexed(input_lost(router, 2, ANNA)) == ["B0 40 50"]
    assert plays(router, BEN, "B0 40 00") == ["B0 40 00"]
    assert recall(router, 3, 1) == []


def test_a_pedal_that_the_next_scene_does_not_feed_leaves() -> None:
    """A pedal that only one of its two players still feeds stays where that one has it."""
    router = scenes(BOTH, '{ from = "pads", to = "strings" }', "")
    plays(router, ANNA, "B0 40 7F")
    plays(router, BEN, "B0 40 50")
    assert hexed(recall(router, 2, 2)) == ["B0 40 50"]
    assert hexed(recall(router, 3, 3)) == ["B0 40 00"]


def test_a_pedal_that_was_held_back_is_not_forgotten() -> None:
    """If the player who pressed it last has gone, the scene change still lifts the other one's."""
    router = scenes(BOTH, "")
    plays(router, ANNA, "B0 40 7F")
    plays(router, BEN, "B0 40 7F", "B0 40 00")
    assert hexed(recall(router, 2, 2)) == ["B0 40 00"]


def test_a_pedal_that_a_control_sets_is_nobody_s() -> None:
    """After a control has lifted a pedal, a player who presses it presses it."""
    router = scenes(
        BOTH,
        more='[[controls]]\ninput = "foot"\nwhen = { program = 1 }\ndo = "send"\noutput = "strings"\n'
        'messages = ["B0 40 00"]',
    )
    plays(router, ANNA, "B0 40 7F")
    assert hexed(router.receive(2, 2, b"\xc0\x00")) == ["B0 40 00"]
    assert plays(router, BEN, "B0 40 7F") == ["B0 40 7F"]


# Mode messages


def test_all_notes_off_ends_only_its_player_s_notes() -> None:
    """A keyboard that sends All Notes Off with its last key does not cut the other player."""
    router = scenes(BOTH)
    plays(router, ANNA, "90 3C 40", "90 40 40")
    plays(router, BEN, "90 43 40")
    assert plays(router, ANNA, "B0 7B 00") == ["80 3C 40", "80 40 40"]
    assert plays(router, ANNA, "80 3C 40", "80 40 40") == []
    assert plays(router, BEN, "80 43 40") == ["80 43 40"]


@pytest.mark.parametrize("number", ["78", "7B", "7C", "7D", "7E", "7F"])
def test_a_mode_message_passes_if_nobody_else_sounds(number: str) -> None:
    """It passes as it came, and so do the note-offs behind it, since a receiver may ignore it (MIDI 1.0 p. 24)."""
    router = scenes(BOTH)
    plays(router, BEN, "90 43 40", "80 43 40")
    plays(router, ANNA, "90 3C 40")
    assert plays(router, ANNA, f"B0 {number} 00", "80 3C 40") == [f"B0 {number} 00", "80 3C 40"]


def test_after_all_notes_off_a_player_holds_nothing() -> None:
    """A note-off that never comes behind All Notes Off does not keep the other player's note of that key sounding."""
    router = scenes(BOTH)
    assert plays(router, ANNA, "90 3C 40", "B0 7B 00") == ["90 3C 40", "B0 7B 00"]
    assert plays(router, BEN, "90 3C 40", "80 3C 40") == ["90 3C 40", "80 3C 40"]
    assert router.state.ledger.sounding() == 0


def test_all_sound_off_cuts_what_rings_under_its_player_s_pedal() -> None:
    """Whose note it was that rings under a pedal is not known; it counts as the pedal's player's."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 40 7F")
    plays(router, BEN, "90 43 40", "80 43 40")
    assert plays(router, BEN, "B0 78 00") == []
    assert plays(router, ANNA, "B0 78 00") == ["B0 78 00"]


@pytest.mark.parametrize("number", ["7C", "7D", "7E", "7F"])
def test_a_change_of_mode_is_left_out_while_another_player_sounds(number: str) -> None:
    """It would end the other's notes; its player's own notes end."""
    router = scenes(BOTH)
    plays(router, ANNA, "90 3C 40")
    plays(router, BEN, "90 43 40")
    assert plays(router, ANNA, f"B0 {number} 00") == ["80 3C 40"]


def test_a_key_of_both_sounds_on_after_all_notes_off() -> None:
    """A key that the other player holds, too, sounds until they have released it."""
    router = scenes(BOTH)
    plays(router, ANNA, "90 3C 40")
    plays(router, BEN, "90 3C 40")
    assert plays(router, ANNA, "B0 7B 00") == []
    assert plays(router, BEN, "80 3C 40") == ["80 3C 40", "80 3C 40"]


def test_local_control_passes() -> None:
    """Local control ends nothing (MIDI 1.0 Table IV)."""
    router = scenes(BOTH)
    plays(router, BEN, "90 43 40")
    assert plays(router, ANNA, "B0 7A 00") == ["B0 7A 00"]


def test_all_notes_off_reaches_the_notes_of_earlier_scenes() -> None:
    """Notes that were begun in another scene end, also where the present one does not lead; late note-offs are
    dropped."""
    router = scenes('{ from = "keys", to = "strings" }', '{ from = "keys", to = "brass" }')
    plays(router, ANNA, "90 3C 40")
    recall(router, 2, 2)
    plays(router, ANNA, "90 40 40")
    out = router.receive(3, ANNA, b"\xb0\x7b\x00")
    assert (hexed(out, 0), hexed(out, 1)) == (["80 3C 40"], ["B0 7B 00"])
    assert plays(router, ANNA, "80 3C 40") == []


def test_a_route_that_stops_all_notes_off_leaves_its_notes() -> None:
    """Where the scene leads, but a filter stops the message, the notes sound on until their keys are released."""
    router = scenes('{ from = "keys", to = "strings", through = [ { filter = "strip", kinds = ["channel_mode"] } ] }')
    plays(router, ANNA, "90 3C 40")
    assert plays(router, ANNA, "B0 7B 00") == []
    assert plays(router, ANNA, "80 3C 40") == ["80 3C 40"]


def test_all_notes_off_is_for_its_channel() -> None:
    """Keys of the player's other channel in an earlier scene are not ended."""
    router = scenes('{ from = "keys", to = "strings" }', '{ from = "keys", to = "brass" }')
    plays(router, ANNA, "90 3C 40", "91 3C 40")
    recall(router, 2, 2)
    out = router.receive(3, ANNA, b"\xb0\x7b\x00")
    assert hexed(out, 0) == ["80 3C 40"]
    assert plays(router, ANNA, "81 3C 40") == ["81 3C 40"]


def test_reset_all_controllers_resets_only_what_its_player_moved() -> None:
    """The other player's bend and modulation stay; what the first moved gets its rest (RP-015), and keys that are held
    sound on."""
    router = scenes(BOTH)
    plays(router, ANNA, "90 3C 40", "B0 0B 20", "D0 40", "B0 40 7F")
    plays(router, BEN, "E0 00 10", "B0 01 30", "B0 40 60")
    assert plays(router, ANNA, "B0 79 00") == ["B0 0B 7F", "D0 00", "B0 40 60"]
    assert plays(router, BEN, "B0 40 00") == ["B0 40 00"]


def test_a_reset_after_an_lsb_leaves_the_other_s_msb() -> None:
    """An LSB alone does not make the other player's expression one's own: it is not reset to 127."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 0B 20")
    plays(router, BEN, "B0 2B 05")
    assert plays(router, BEN, "B0 79 00") == []
    assert plays(router, ANNA, "B0 79 00") == ["B0 0B 7F"]


def test_a_reset_on_another_channel_of_an_input_leaves_what_others_may_hold() -> None:
    """Two channels of Anna's keyboard lead to Ben's: her reset rests her own wheel, and resets nothing of his."""
    keys = '{ from = "keys", to = "strings", through = [ { filter = "channels", map = { 1 = 2, 3 = 2 } } ] }'
    router = scenes(f'{keys}, {{ from = "pads", to = "strings" }}')
    assert plays(router, BEN, "B1 01 40") == ["B1 01 40"]
    assert plays(router, ANNA, "B0 01 20", "B2 79 00") == ["B1 01 20", "B1 01 00"]


def test_reset_all_controllers_passes_if_the_other_has_moved_nothing() -> None:
    """Nothing of the other player's would be reset, so it goes out as it came."""
    router = scenes(BOTH)
    plays(router, BEN, "90 43 40", "80 43 40", "E0 00 10", "E0 00 40")
    plays(router, ANNA, "B0 0B 20")
    assert plays(router, ANNA, "B0 79 00") == ["B0 79 00"]


# Around it


def test_what_is_merged_is_what_is_delivered() -> None:
    """Filters come first: two channels that a route makes one are merged there."""
    router = scenes(
        '{ from = "keys", to = "strings" }, '
        '{ from = "pads", to = "strings", through = [ { filter = "channels", map = { 2 = 1 } } ] }'
    )
    plays(router, ANNA, "B0 40 7F")
    assert plays(router, BEN, "B1 40 7F", "B1 40 00") == []
    assert plays(router, ANNA, "B0 40 00") == ["B0 40 00"]


@pytest.fixture
def late(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A filter that delays everything by 5 ns."""
    monkeypatch.setattr(filters.thin, "build", lambda settings: lambda message, now: (Later(now + 5, message),))
    registry.cache_clear()
    yield '{ filter = "thin", milliseconds = 20 }'
    registry.cache_clear()


def test_a_pedal_that_is_delayed_is_merged(late: str) -> None:
    """A pedal that a filter has delayed does not lift the other player's."""
    router = scenes(f'{{ from = "keys", to = "strings" }}, {{ from = "pads", to = "strings", through = [ {late} ] }}')
    assert plays(router, BEN, "B0 40 7F") == []
    assert plays(router, ANNA, "B0 40 50") == ["B0 40 50"]
    assert hexed(router.tick(6)) == ["B0 40 7F"]
    assert plays(router, BEN, "B0 40 00") == []
    assert hexed(router.tick(6)) == ["B0 40 50"]
    assert plays(router, ANNA, "B0 40 00") == ["B0 40 00"]


def test_a_value_that_is_delayed_is_its_player_s() -> None:
    """The MSB that a filter has delayed counts when it is sent."""
    router = scenes(
        '{ from = "keys", to = "strings" }, '
        '{ from = "pads", to = "strings", through = [ { filter = "thin", milliseconds = 20 } ] }'
    )
    plays(router, ANNA, "B0 07 40")
    assert hexed(router.receive(1, BEN, bytes.fromhex("B0 07 50"))) == ["B0 07 50"]
    assert router.receive(2, BEN, bytes.fromhex("B0 07 60")) == []
    assert router.due is not None
    assert hexed(router.tick(router.due)) == ["B0 07 60"]
    assert plays(router, ANNA, "B0 27 01") == ["B0 07 40", "B0 27 01"]


def test_delayed_data_are_for_what_was_selected_before_them(late: str) -> None:
    """What is selected while data wait does not change which parameter they set."""
    router = scenes(f'{{ from = "keys", to = "strings", through = [ {late} ] }}')
    played = ("B0 63 01", "B0 62 08", "B0 06 40", "B0 26 05", "B0 63 02", "B0 62 03", "B0 06 41")
    assert plays(router, ANNA, *played) == []
    assert hexed(router.tick(6)) == [*played]


def test_a_panic_ends_what_is_merged() -> None:
    """After a panic a pedal is where its player next puts it."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 40 7F")
    plays(router, BEN, "B0 40 7F")
    command(router, 2, "panic")
    assert plays(router, ANNA, "B0 40 00", "B0 40 7F") == ["B0 40 00", "B0 40 7F"]


def test_kept_recordings_have_the_rules_of_their_time() -> None:
    """Recordings of format 1 were made when nothing but keys was merged."""
    rig = read(PORTS.replace("WIRE", "fast") + f'[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ {BOTH} ]\n', "test")
    router = Engine(engine_of(rig).state.compiled, rules=RULES_1)
    recall(router, 0, 1)
    plays(router, ANNA, "B0 40 7F")
    assert plays(router, BEN, "B0 40 7F", "B0 40 00") == ["B0 40 7F", "B0 40 00"]
