"""Routes by examples: zones, merges, one into many, routes in force in every scene, overlapping presses."""

import pytest

from engine.core.engine import Engine
from tests.support.engine_calls import input_lost, recall
from tests.support.pit_engine import MS, engine, hexed


def play(router: Engine, source: int, *messages: str) -> list[str]:
    """What the strings get when one input sends these messages."""
    return [one for message in messages for one in hexed(router.receive(1, source, bytes.fromhex(message)), 0)]


def routed(routes: str, *others: str) -> Engine:
    """Scenes 1, 2 … with these routes; the first is in force."""
    scenes = (
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {listed} ]\n'
        for number, listed in enumerate((routes, *others), 1)
    )
    router = engine("".join(scenes))
    recall(router, 0, 1)
    return router


STRAIGHT = '{ from = ["keys", "pads"], to = "strings" }'


def test_a_zone_has_both_its_ends() -> None:
    """A split at C4: B3 belongs to the lower half, C4 to the upper, and every key to exactly one."""
    router = routed(
        '{ from = "keys", to = "strings", through = [ { filter = "zone", notes = [0, "B3"] } ] }, '
        '{ from = "keys", to = "brass", through = [ { filter = "zone", notes = ["C4", "G9"] } ] }'
    )
    for key, output in ((0, 0), (59, 0), (60, 1), (127, 1)):
        assert [to for to, _, _ in router.receive(1, 0, bytes((0x90, key, 1)))] == [output]
        assert [to for to, _, _ in router.receive(1, 0, bytes((0x80, key, 1)))] == [output]


def test_a_velocity_split_sends_the_release_where_the_press_went() -> None:
    """A soft press goes one way and a hard one the other; each gets its own release, whatever its velocity."""
    router = routed(
        '{ from = "keys", to = "strings", through = [ { filter = "zone", velocity = [1, 63] } ] }, '
        '{ from = "keys", to = "brass", through = [ { filter = "zone", velocity = [64, 127] } ] }'
    )
    for velocity, output in ((63, 0), (64, 1)):
        assert [to for to, _, _ in router.receive(1, 0, bytes((0x90, 60, velocity)))] == [output]
        assert [to for to, _, _ in router.receive(1, 0, bytes((0x80, 60, 127 - velocity)))] == [output]


def test_two_inputs_are_merged_in_the_order_they_came() -> None:
    """What either player plays arrives, in order; bank select and the program that follows it are left unchanged."""
    router = routed(STRAIGHT)
    heard = play(router, 0, "90 3C 40", "B0 00 01") + play(router, 1, "91 40 40") + play(router, 0, "C0 05", "F8")
    assert heard == ["90 3C 40", "B0 00 01", "91 40 40", "C0 05", "F8"]


def test_one_input_goes_to_many_outputs() -> None:
    """Each output gets the message once, however many routes name it."""
    router = routed('{ from = "keys", to = ["strings", "brass"] }, { from = "keys", to = "strings" }')
    out = router.receive(1, 0, b"\x90\x3c\x40")
    assert sorted((to, message) for to, message, _ in out) == [(0, b"\x90\x3c\x40"), (1, b"\x90\x3c\x40")]


def test_routes_outside_the_scenes_are_in_force_in_every_scene() -> None:
    """Routes of every scene act besides each scene's own, and what they feed is not set to rest at a recall."""
    router = engine(
        '[[routes]]\nfrom = "foot"\nto = "strings"\n'
        f'[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ {STRAIGHT} ]\n[[scenes]]\nnumber = 2\nname = "B"\n'
    )
    recall(router, 0, 1)
    assert play(router, 2, "B0 40 7F") == ["B0 40 7F"]
    assert play(router, 0, "90 3C 40") == ["90 3C 40"]
    assert recall(router, 2, 2) == []
    assert play(router, 2, "B0 40 00") == ["B0 40 00"]
    assert play(router, 0, "90 40 40", "80 3C 40") == ["80 3C 40"]


def test_a_key_held_through_two_scenes_and_a_zone_is_let_go_of() -> None:
    """Neither a zone nor a removed route stops the release of a key pressed earlier."""
    zone = '{ from = "keys", to = "strings", through = [ { filter = "zone", notes = [80, 90] } ] }'
    router = routed(STRAIGHT, zone, "")
    play(router, 0, "90 3C 40", "90 3D 40")
    recall(router, 2, 2)
    assert play(router, 0, "80 3C 11") == ["80 3C 11"]
    recall(router, 3, 3)
    assert play(router, 0, "90 3D 00") == ["90 3D 00"]


def test_overlapping_presses_of_two_scenes_are_released_in_order() -> None:
    """If one key is pressed in two transpositions, the releases follow their own presses, first pressed first."""
    up = '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 12 } ] }'
    router = routed(STRAIGHT, up)
    play(router, 0, "90 3C 40")
    recall(router, 2, 2)
    assert play(router, 0, "90 3C 41", "80 3C 00", "80 3C 01") == ["90 48 41", "80 3C 00", "80 48 01"]


def test_owed_releases_are_paid_when_the_last_player_lets_go() -> None:
    """However two players' presses of one key overlap, it sounds until both release it, by when as many note-offs as
    note-ons have been sent (MIDI 1.0 p. A-4)."""
    router = routed(STRAIGHT)
    on, off = "90 3C 40", "80 3C 40"
    turns = ((0, on), (1, on), (0, off), (0, on), (0, on), (1, off), (0, off))
    sent = [one for source, message in turns for one in play(router, source, message)]
    assert (sent.count(on), sent.count(off)) == (4, 1)
    assert play(router, 0, off) == [off, off, off]
    assert router.state.ledger.sounding() == 0


@pytest.mark.parametrize("channel", ["0", "1", "F"])
def test_a_stray_release_passes_and_cuts_nobody(channel: str) -> None:
    """A release without a press passes unchanged, unless another player holds that key on that channel."""
    router = routed(STRAIGHT)
    stray = [f"8{channel} 3C 22", f"9{channel} 3D 00"]
    assert play(router, 0, *stray) == stray
    play(router, 1, f"9{channel} 3C 40")
    assert play(router, 0, *stray) == stray[1:]
    assert play(router, 0, "87 3C 22") == ["87 3C 22"]


def test_a_lost_input_lets_go() -> None:
    """When an input's cable is pulled, its keys and its pedal are released; the other player's notes ring on."""
    router = routed(STRAIGHT)
    play(router, 0, "90 3C 40", "90 3D 40", "B0 40 7F")
    play(router, 1, "90 3D 40", "B1 40 7F")
    assert sorted(hexed(input_lost(router, 2, 0), 0)) == ["80 3C 40", "B0 40 00"]
    assert play(router, 1, "80 3D 00") == ["80 3D 00", "80 3D 00"]


def test_a_wheel_fed_by_another_way_of_the_same_input_is_left_alone() -> None:
    """A wheel that the new scene moves on the same channel stays. If the channel changes, the old one goes to rest, and
    the new one is sent where the wheel is."""
    up = '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 12 } ] }'
    moved = '{ from = "keys", to = "strings", through = [ { filter = "channels", map = { 1 = 2 } } ] }'
    router = routed(STRAIGHT, up, moved)
    play(router, 0, "B0 01 33", "E0 00 50", "A0 3C 20")
    assert sorted(hexed(recall(router, 2, 2), 0)) == ["A0 3C 00"]
    assert sorted(hexed(recall(router, 3, 3), 0)) == ["B0 01 00", "B1 01 33", "E0 00 40", "E1 00 50"]


@pytest.mark.parametrize(
    "message", ["F0 7D 01 02 F7", "F1 24", "F2 10 20", "F3 05", "F6", "F8", "FA", "FB", "FC", "FE", "FF"]
)
def test_system_messages_pass_what_acts_on_channels(message: str) -> None:
    """System messages have no channel: channels, zone, transpose, controllers and the like pass them on."""
    chain = (
        '{ filter = "channels", keep = [3] }, { filter = "zone", notes = [80, 90] }, '
        '{ filter = "transpose", semitones = 5 }, { filter = "controllers", keep = [7] }, '
        '{ filter = "velocity", fixed = 9 }, { filter = "notes", map = { 1 = 2 } }'
    )
    router = routed(f'{{ from = "keys", to = "strings", through = [ {chain} ] }}')
    assert play(router, 0, message) == [message]


def test_the_condition_with_the_number_wins() -> None:
    """Program 5 has its own control; every other program recalls the scene of its number."""
    router = engine(
        '[[scenes]]\nnumber = 1\nname = "A"\n[[scenes]]\nnumber = 5\nname = "B"\n[[scenes]]\nnumber = 6\nname = "C"\n'
        '[[controls]]\ninput = "foot"\nwhen = { program = "any" }\ndo = "scene"\n'
        '[[controls]]\ninput = "foot"\nwhen = { program = 5 }\ndo = "panic"\n'
    )
    recall(router, 0, 1)
    router.receive(1, 2, b"\xc0\x04")
    router.receive(1, 2, b"\xc0\x05")
    assert [outcome.do for outcome in router.reports.outcomes] == ["panic", "scene"]
    assert router.scene == (6, "C")


def test_a_control_owns_its_controller_on_its_own_input_only() -> None:
    """Values below the threshold are consumed as well; the same controller of another input is routed."""
    router = engine(
        '[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = ["keys", "foot"], to = "strings" } ]\n'
        '[[controls]]\ninput = "foot"\nwhen = { controller = 80, at_least = 100 }\ndo = "resend"\n'
    )
    recall(router, 0, 1)
    assert play(router, 2, "B0 50 00", "B0 50 63", "B0 50 64") == []
    assert play(router, 0, "B0 50 63") == ["B0 50 63"]
    assert len(router.reports.outcomes) == 1


def test_a_sysex_must_match_to_the_byte() -> None:
    """Only the exact SysEx of the condition acts; a different or longer one is routed."""
    router = engine(
        '[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ { from = "foot", to = "strings" } ]\n'
        '[[controls]]\ninput = "foot"\nwhen = { sysex = "F0 7D 01 F7" }\ndo = "resend"\n'
    )
    recall(router, 0, 1)
    assert play(router, 2, "F0 7D 02 F7", "F0 7D 01 00 F7") == ["F0 7D 02 F7", "F0 7D 01 00 F7"]
    assert play(router, 2, "F0 7D 01 F7") == []


def test_two_programs_within_the_guard_time_are_two_commands() -> None:
    """The guard applies to one switch that fires twice; another number is another switch."""
    router = engine(
        '[[scenes]]\nnumber = 1\nname = "A"\n[[scenes]]\nnumber = 2\nname = "B"\n'
        '[[controls]]\ninput = "foot"\nwhen = { program = "any" }\ndo = "scene"\n'
    )
    recall(router, 0, 1)
    for at, program in ((0, 1), (5, 1), (10, 0), (29, 1), (45, 1)):
        router.receive(at * MS, 2, bytes((0xC0, program)))
    assert [outcome.scene for outcome in router.reports.outcomes] == [(2, "B"), (1, "A"), (2, "B")]


def test_filters_of_the_same_settings_remember_each_for_its_own_route() -> None:
    """Two pedals each have their own latch: one does not switch the other off. Filters without state are shared."""
    latch = '{ filter = "latch", controllers = [64] }, { filter = "transpose", semitones = 1 }'
    router = routed(
        f'{{ from = "keys", to = "strings", through = [ {latch} ] }}, '
        f'{{ from = "pads", to = "brass", through = [ {latch} ] }}'
    )
    for source in (0, 1):
        assert hexed(router.receive(1, source, bytes.fromhex("B0 40 7F"))) == ["B0 40 7F"]
    assert router.state.main.scene is not None
    (keys,), (pads,) = router.state.main.scene.paths[0], router.state.main.scene.paths[1]
    assert keys.links[0] is not pads.links[0]
    assert keys.links[1] is pads.links[1]


def test_a_filter_is_shared_only_where_all_its_settings_are_the_same() -> None:
    """Up a semitone in one scene, up a whole tone in the other."""
    router = routed(
        '{ from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 1 } ] }, '
        '{ from = "pads", to = "strings", through = [ { filter = "transpose", semitones = 2 } ] }'
    )
    assert play(router, 0, "90 3C 40") == ["90 3D 40"]
    assert play(router, 1, "90 3C 40") == ["90 3E 40"]
