"""Two players on one channel, by examples: what the instrument gets."""

from collections.abc import Iterator

import pytest

import filters.thin
from engine.core.engine import Engine
from engine.core.rules import RULES_1
from engine.rig.read.load import read
from filters.registry import Later, registry
from tests.support.engine_calls import command, engine_of, input_lost, recall
from tests.support.pit_engine import PORTS, engine, hexed

ANNA, BEN = 0, 1  # the inputs keys and pads
BOTH = '{ from = ["keys", "pads"], to = "strings" }'


def scenes(*routes: str, more: str = "") -> Engine:
    """Scenes 1, 2 and so on with these routes; the first is in force."""
    made = engine(
        "".join(
            f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {listed} ]\n{more}\n'
            for number, listed in enumerate(routes, 1)
        )
    )
    recall(made, 0, 1)
    return made


def plays(router: Engine, player: int, *messages: str) -> list[str]:
    """What goes out for these messages of one player."""
    return [one for each in messages for one in hexed(router.receive(1, player, bytes.fromhex(each)))]


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
    """The other player's bend and modulation stay; what the first moved gets its rest (RP-015)."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 0B 20", "D0 40", "B0 40 7F")
    plays(router, BEN, "E0 00 10", "B0 01 30", "B0 40 60")
    assert plays(router, ANNA, "B0 79 00") == ["B0 0B 7F", "D0 00", "B0 40 60"]
    assert plays(router, BEN, "B0 40 00") == ["B0 40 00"]


def test_reset_all_controllers_passes_if_the_other_has_moved_nothing() -> None:
    """Nothing of the other player's would be reset, so it goes out as it came."""
    router = scenes(BOTH)
    plays(router, BEN, "90 43 40", "80 43 40", "E0 00 10", "E0 00 40")
    plays(router, ANNA, "B0 0B 20")
    assert plays(router, ANNA, "B0 79 00") == ["B0 79 00"]


# Parameters


def test_a_value_meant_for_one_parameter_never_reaches_another() -> None:
    """NRPN 1/8 = 64 of one player, with the other one's pitch-bend range between, never becomes a bend range of 64
    (MIDI 1.0 p. 17-18)."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 63 01", "B0 62 08")
    plays(router, BEN, "B0 65 00", "B0 64 00", "B0 06 02")
    assert plays(router, ANNA, "B0 06 40") == ["B0 63 01", "B0 62 08", "B0 06 40"]
    assert plays(router, BEN, "B0 26 00") == ["B0 65 00", "B0 64 00", "B0 26 00"]


@pytest.mark.parametrize("step", ["B0 60 00", "B0 61 00"])
def test_increments_go_to_their_player_s_parameter(step: str) -> None:
    """Increment and decrement are preceded by their player's own selection."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 63 01", "B0 62 08")
    plays(router, BEN, "B0 65 00", "B0 64 00")
    assert plays(router, ANNA, step) == ["B0 63 01", "B0 62 08", step]


def test_a_selection_with_another_one_between_is_whole() -> None:
    """The LSB of a half-finished selection is preceded by its own MSB."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 63 01")
    plays(router, BEN, "B0 63 05", "B0 62 06")
    assert plays(router, ANNA, "B0 62 08", "B0 06 40") == ["B0 63 01", "B0 62 08", "B0 06 40"]


def test_a_data_lsb_has_its_own_msb() -> None:
    """If both set one parameter, a data LSB is preceded by its player's own data MSB."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 65 00", "B0 64 00", "B0 06 02")
    plays(router, BEN, "B0 65 00", "B0 64 00", "B0 06 0C")
    assert plays(router, ANNA, "B0 26 32") == ["B0 06 02", "B0 26 32"]
    assert plays(router, BEN, "B0 06 05", "B0 26 01") == ["B0 06 05", "B0 26 01"]


def test_parameters_are_forgotten_after_256_others() -> None:
    """It is remembered who set the last 256 parameters of a channel; before that, an LSB passes as it came."""
    for others, made in ((255, ["B0 06 02", "B0 26 32"]), (256, ["B0 26 32"])):
        router = scenes(BOTH)
        plays(router, ANNA, "B0 65 00", "B0 64 00", "B0 06 02")
        plays(router, BEN, "B0 65 00", "B0 64 00", "B0 06 0C")
        for number in range(others):
            plays(router, BEN, f"B0 63 {number >> 7:02X}", f"B0 62 {number & 0x7F:02X}", "B0 06 01")
        plays(router, ANNA, "B0 65 00", "B0 64 00")
        assert plays(router, ANNA, "B0 26 32") == made


def test_data_entry_after_a_null_parameter_goes_nowhere() -> None:
    """It is not passed on while another player's parameter is selected."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 65 7F", "B0 64 7F")
    plays(router, BEN, "B0 65 00", "B0 64 00")
    assert plays(router, ANNA, "B0 06 40", "B0 26 01", "B0 60 00") == []
    assert plays(router, BEN, "B0 65 7F", "B0 64 7F") == ["B0 65 7F", "B0 64 7F"]
    assert plays(router, ANNA, "B0 06 40") == ["B0 06 40"]


def test_data_entry_without_a_selection_goes_nowhere() -> None:
    """A player who has selected nothing does not set the other one's parameter."""
    router = scenes(BOTH)
    plays(router, BEN, "B0 65 00", "B0 64 00")
    assert plays(router, ANNA, "B0 06 40") == []


def test_what_a_control_selects_is_nobody_s() -> None:
    """A parameter that a control has selected between does not get a player's value."""
    router = scenes(
        BOTH,
        more='[[controls]]\ninput = "foot"\nwhen = { program = 1 }\ndo = "send"\noutput = "strings"\n'
        'messages = ["B0 65 00", "B0 64 00", "B0 06 0C"]',
    )
    plays(router, ANNA, "B0 63 01", "B0 62 08")
    router.receive(2, 2, b"\xc0\x00")
    assert plays(router, ANNA, "B0 06 40") == ["B0 63 01", "B0 62 08", "B0 06 40"]


@pytest.mark.parametrize(
    ("first", "sent", "then", "out"),
    [
        ("B0 07 40", "B0 07 10", "B0 27 05", ["B0 07 40", "B0 27 05"]),
        ("B0 01 40", "B0 79 00", "B0 21 05", ["B0 01 40", "B0 21 05"]),
        (
            "B0 65 00 B0 64 00 B0 06 02",
            "B0 65 00 B0 64 00 B0 06 0C",
            "B0 26 32",
            ["B0 65 00", "B0 64 00", "B0 06 02", "B0 26 32"],
        ),
        ("B0 63 01 B0 62 08", "B0 79 00", "B0 06 40", ["B0 63 01", "B0 62 08", "B0 06 40"]),
        ("B0 00 05 C0 01", "C0 02", "C0 03", ["C0 03"]),
    ],
)
def test_what_a_control_sends_is_nobody_s(first: str, sent: str, then: str, out: list[str]) -> None:
    """A value that a control has sent in between is not taken for the player's own; its program has the last bank."""
    messages = [sent[at : at + 8] for at in range(0, len(sent), 9)] if sent != "C0 02" else [sent]
    router = scenes(
        BOTH,
        more='[[controls]]\ninput = "foot"\nwhen = { program = 1 }\ndo = "send"\noutput = "strings"\n'
        f"messages = {messages}",
    )
    played = bytes.fromhex(first)
    for start in range(0, len(played), 3):
        router.receive(1, ANNA, played[start : start + 3])
    router.receive(2, 2, b"\xc0\x00")
    assert plays(router, ANNA, then) == out


def test_a_reset_that_passed_is_remembered() -> None:
    """After Reset All Controllers its player's modulation is at rest and no parameter is selected (RP-015)."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 01 40", "B0 63 01", "B0 62 08", "B0 79 00")
    assert plays(router, BEN, "B0 06 10", "B0 01 20") == ["B0 06 10", "B0 01 20"]
    assert plays(router, ANNA, "B0 21 05") == ["B0 01 00", "B0 21 05"]


def test_an_unplugged_player_is_forgotten() -> None:
    """What an input has selected before it was unplugged is not sent again."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 07 40", "B0 00 05", "C0 01", "B0 65 00", "B0 64 00", "B0 06 02")
    plays(router, BEN, "B0 07 60", "B0 00 06", "C0 02")
    input_lost(router, 2, ANNA)
    assert plays(router, ANNA, "B0 27 05", "C0 03", "B0 26 01") == ["B0 27 05", "C0 03", "B0 26 01"]


# 14-bit controllers, banks


def test_an_lsb_comes_after_an_msb_that_a_filter_holds_back() -> None:
    """The first LSB of all makes the engine look where all MSBs are; one that is held back is nowhere yet."""
    caught = '{ from = ["keys"], to = "strings", through = [ { filter = "catch", controllers = [11] } ] }'
    listed = f'[[scenes]]\nnumber = 1\nname = "S1"\nroutes = [ {caught} ]\n'
    router = engine_of(read(f"{PORTS}{listed}".replace("format = 1", "format = 2").replace("WIRE", "fast"), "test"))
    recall(router, 0, 1)
    assert plays(router, ANNA, "B0 0B 40", "B0 0A 40", "B0 2A 10") == ["B0 0A 40", "B0 2A 10"]


def test_an_lsb_has_its_own_msb() -> None:
    """Whoever sent the last MSB owns the controller; the other one's LSB is preceded by their own last MSB."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 07 40")
    plays(router, BEN, "B0 07 60", "B0 27 01")
    assert plays(router, ANNA, "B0 27 05", "B0 27 06") == ["B0 07 40", "B0 27 05", "B0 27 06"]
    assert plays(router, BEN, "B0 27 02") == ["B0 07 60", "B0 27 02"]


def test_a_program_has_its_own_bank() -> None:
    """A program change with another player's bank between is preceded by its player's own bank."""
    router = scenes(BOTH)
    plays(router, ANNA, "B0 00 01", "B0 20 02", "C0 03")
    plays(router, BEN, "B0 00 07", "C0 05")
    assert plays(router, ANNA, "C0 04") == ["B0 00 01", "B0 20 02", "C0 04"]
    assert router.state.cables[0].sounds[0] == (b"\xb0\x00\x01", b"\xb0\x20\x02", b"\xc0\x04")
    assert plays(router, BEN, "C0 06") == ["B0 00 07", "C0 06"]
    assert plays(router, BEN, "C0 05") == ["C0 05"]


def test_after_a_burst_its_bank_is_in_force() -> None:
    """No player's older bank is sent again after the scene has put the instrument on a sound."""
    router = engine(
        f'[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ {BOTH} ]\nburst = [ {{ instrument = "lead", sound = "A" }} ]\n'
    )
    recall(router, 0, 1)
    now = 10**9
    router.tick(now)
    for player, message in ((ANNA, "B0 00 05"), (ANNA, "C0 01"), (BEN, "B0 00 06"), (BEN, "C0 02")):
        router.receive(now, player, bytes.fromhex(message))
    recall(router, now, 1)
    router.tick(2 * now)
    assert hexed(router.receive(2 * now, ANNA, b"\xc0\x03")) == ["C0 03"]


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
