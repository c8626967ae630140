"""Two players on one channel, by examples: parameters, 14-bit controllers and banks stay whole for each of them."""

import pytest

from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, input_lost, recall
from tests.support.pit_engine import PORTS, engine, hexed
from tests.support.two_players import ANNA, BEN, BOTH, plays, scenes

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


def test_a_data_lsb_after_a_scene_change_has_its_own_msb() -> None:
    """The MSB went where the scene before led; where the LSB arrives now, it comes after its parameter and its MSB."""
    router = scenes('{ from = "keys", to = "strings" }', '{ from = "keys", to = "brass" }')
    plays(router, ANNA, "B0 65 00", "B0 64 02", "B0 06 08")
    recall(router, 2, 2)
    assert plays(router, ANNA, "B0 26 03") == ["B0 65 00", "B0 64 02", "B0 06 08", "B0 26 03"]
    assert plays(router, ANNA, "B0 26 04", "B0 06 05", "B0 26 01") == ["B0 26 04", "B0 06 05", "B0 26 01"]
    recall(router, 3, 1)
    assert plays(router, ANNA, "B0 26 02") == ["B0 65 00", "B0 64 02", "B0 06 05", "B0 26 02"]


def test_a_data_msb_that_a_filter_stops_stays_stopped() -> None:
    """Where no route leads the MSB, it is not sent before the LSB either."""
    router = scenes(
        '{ from = "keys", to = "strings" }',
        '{ from = "keys", to = "brass", through = [ { filter = "controllers", drop = [6] } ] }',
    )
    plays(router, ANNA, "B0 65 00", "B0 64 02", "B0 06 08")
    recall(router, 2, 2)
    assert plays(router, ANNA, "B0 26 03") == ["B0 65 00", "B0 64 02", "B0 26 03"]


TWO_IN_ONE = '{ from = "keys", to = "strings", through = [ { filter = "channels", map = { 2 = 1 } } ] }'


def test_two_channels_that_become_one_have_a_parameter_each() -> None:
    """A selection is for its channel (MIDI 1.0 p. 17-18): the data of channel 1 is for what was selected there, and
    after null there it goes nowhere."""
    router = scenes(TWO_IN_ONE)
    plays(router, ANNA, "B0 63 01", "B0 62 08", "B1 65 00", "B1 64 00")
    assert plays(router, ANNA, "B0 06 40", "B1 06 02") == [
        *("B0 63 01", "B0 62 08", "B0 06 40"),
        *("B0 65 00", "B0 64 00", "B0 06 02"),
    ]
    plays(router, ANNA, "B0 65 7F", "B0 64 7F", "B1 65 00", "B1 64 00")
    assert plays(router, ANNA, "B0 06 40") == []


def test_one_selection_over_two_channels_that_become_one_is_whole() -> None:
    """What a channel has not selected whole is taken as it comes: as of one player on one channel."""
    router = scenes(TWO_IN_ONE)
    assert plays(router, ANNA, "B0 63 01", "B1 62 08", "B0 06 40") == ["B0 63 01", "B0 62 08", "B0 06 40"]
    assert plays(router, ANNA, "B0 65 00", "B1 62 00", "B0 06 00") == ["B0 65 00", "B0 62 00", "B0 06 00"]
    router = scenes(f'{TWO_IN_ONE}, {{ from = "pads", to = "strings" }}')
    plays(router, BEN, "B0 62 05")
    assert plays(router, ANNA, "B0 63 01", "B1 06 40") == ["B0 63 01", "B0 63 01", "B0 62 00", "B0 06 40"]


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


def test_after_a_reset_nothing_is_selected_again_that_nobody_sent() -> None:
    """An LSB that did not come after a reset is null (RP-015), also if its player had selected nothing before."""
    router = scenes(f'{TWO_IN_ONE}, {{ from = "pads", to = "strings" }}')
    plays(router, ANNA, "B0 79 00", "B0 63 00")
    assert plays(router, ANNA, "B1 06 40") == ["B0 06 40"]


def test_a_player_who_has_only_reset_shares_nothing() -> None:
    """The other's reset still goes out as it came."""
    router = scenes(BOTH)
    assert plays(router, ANNA, "B0 79 00") == ["B0 79 00"]
    assert plays(router, BEN, "B0 0B 20", "B0 79 00") == ["B0 0B 20", "B0 79 00"]


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
