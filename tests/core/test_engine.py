"""The router by examples, as a musician would describe them."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

import filters.transpose
from engine.core.cable.output_cable import Delivery
from engine.core.cable.program_burst import compile_burst, select
from engine.core.engine import Engine
from engine.rig.read.load import read
from filters.registry import registry
from tests.support.check_values import check_value
from tests.support.engine_calls import command, engine_of, finish, input_lost, output_there, recall
from tests.support.pit_engine import MS, PORTS, engine, hexed, run_dry
from tests.support.receiver import Receiver


def receive(router: Engine, now: int, source: int, message: str) -> list[str]:
    """What the strings get for one message."""
    return hexed(router.receive(now, source, bytes.fromhex(message)), 0)


def routed(chain: str = "", more: str = "") -> Engine:
    """Keys and pads to the strings through a chain, in one scene and not in the other."""
    made = engine(
        f"""
[[scenes]]
number = 1
name = "On"
routes = [ {{ from = ["keys", "pads"], to = "strings", through = [ {chain} ] }} ]
[[scenes]]
number = 2
name = "Off"
{more}"""
    )
    recall(made, 0, 1)
    return made


def test_a_route_that_changes_nothing_passes_releases_as_they_came() -> None:
    """Release velocities, and releases written as a note-on of velocity 0, pass unchanged."""
    router = routed()
    assert receive(router, 1, 0, "90 3C 40") == ["90 3C 40"]
    assert receive(router, 2, 0, "80 3C 11") == ["80 3C 11"]
    assert receive(router, 3, 0, "90 3C 40") == ["90 3C 40"]
    assert receive(router, 4, 0, "90 3C 00") == ["90 3C 00"]
    assert receive(router, 5, 0, "80 3C 40") == ["80 3C 40"], "a release without a press passes, too"


def test_one_players_two_presses_give_two_releases() -> None:
    """One player's two note-ons on one key give two note-offs."""
    router = routed()
    for message in ("90 3C 40", "90 3C 41", "80 3C 00", "80 3C 01"):
        assert receive(router, 1, 0, message) == [message]
    entry, offs = check_value("mode-one-off-per-on"), 0
    *presses, _ = entry.input
    for message in (*presses, *["80 3C 40"] * len(presses)):
        offs += receive(router, 2, 0, message) == ["80 3C 40"]
    assert offs == entry.expected["note_offs"]


def test_a_key_of_two_players_sounds_until_both_let_go() -> None:
    """The release that comes first is held back and sent with the last one (MIDI 1.0 p. A-4: each press its own)."""
    router = routed()
    receive(router, 1, 0, "90 3C 40")
    receive(router, 2, 1, "90 3C 50")
    assert receive(router, 3, 0, "80 3C 00") == []
    assert receive(router, 4, 1, "80 3C 00") == ["80 3C 00", "80 3C 00"]


def test_a_release_after_a_panic_does_not_cut_another_players_note() -> None:
    """A key held through a panic has had its note-off; its release does not end a note that another player pressed
    since."""
    router = routed()
    receive(router, 1, 0, "90 3C 40")
    command(router, 2, "panic", None, "test")
    receive(router, 3, 1, "90 3C 50")
    assert receive(router, 4, 0, "80 3C 00") == []
    assert receive(router, 5, 1, "80 3C 00") == ["80 3C 00"]


def test_a_release_follows_its_press_through_a_change_of_transposition() -> None:
    """Transpose +12, press, then another scene: the note-off carries the number that was sent (M1 p. A-4)."""
    entry = check_value("hang-transpose")
    scenes = (
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {{ from = "keys", to = "strings", '
        f'through = [ {{ filter = "transpose", semitones = {step["transpose"]} }} ] }} ]\n'
        for number, step in enumerate(entry.input, 1)
    )
    router = engine("".join(scenes))
    for number, (step, sent) in enumerate(zip(entry.input, entry.expected, strict=True), 1):
        recall(router, 2 * number, number)
        assert receive(router, 2 * number + 1, 0, step["in"]) == [sent]
    assert receive(router, 6, 0, "90 3C 40") == ["90 41 40"]


def test_a_release_follows_its_press_through_a_change_of_channel() -> None:
    """Channel 2, press, then a scene with channel 3: the note-off goes to channel 2 (entry hang-channel)."""
    entry = check_value("hang-channel")
    scenes = (
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {{ from = "keys", to = "strings", '
        f'through = [ {{ filter = "channels", map = {{ 1 = {step["route_channel"]} }} }} ] }} ]\n'
        for number, step in enumerate(entry.input, 1)
    )
    router = engine("".join(scenes))
    for number, (step, sent) in enumerate(zip(entry.input, entry.expected, strict=True), 1):
        recall(router, 2 * number, number)
        assert receive(router, 2 * number + 1, 0, step["in"]) == [sent]


def test_a_key_pressed_into_nothing_is_released_into_nothing() -> None:
    """A press that no route passed has no release in the next scene."""
    router = routed()
    recall(router, 1, 2)
    assert receive(router, 2, 0, "90 3C 40") == []
    recall(router, 3, 1)
    assert receive(router, 4, 0, "80 3C 40") == []


def test_residue_is_set_to_rest() -> None:
    """A pedal, a bend and a wheel that the new scene does not feed go back to rest at the recall."""
    router = routed()
    for message in ("B0 40 7F", "E0 00 50", "B0 01 33", "B0 07 64"):
        receive(router, 1, 0, message)
    assert sorted(hexed(recall(router, 2, 2), 0)) == ["B0 01 00", "B0 40 00", "E0 00 40"]


def test_residue_that_is_still_fed_is_left_alone() -> None:
    """If the new scene still feeds the pedal, it is left alone."""
    router = routed()
    receive(router, 1, 0, "B0 40 7F")
    assert recall(router, 2, 1) == []


def test_bank_and_program_of_one_message_stay_together() -> None:
    """The messages that add_bank makes of a program change stay together on a DIN cable, whatever else comes."""
    chain = '{ filter = "add_bank", channels = { 1 = [8, 9] } }'
    route = f'{{ from = ["keys", "pads"], to = "strings", through = [ {chain} ] }}'
    router = engine(f'[[scenes]]\nnumber = 1\nname = "A"\nroutes = [ {route} ]', cable="din")
    recall(router, 0, 1)
    out = []
    for number in range(4):
        out += router.receive(0, 0, bytes((0xC0, number))) + router.receive(0, 1, bytes((0xB0, 0, number)))
    out += run_dry(router, 0)[1]
    heard = hexed(out, 0)
    for number in range(4):
        place = heard.index(f"C0 0{number}")
        assert heard[place - 2 : place] == ["B0 00 08", "B0 20 09"]


CONTROLS = """
[[setlists]]
name = "Friday"
scenes = [1, 12, 1]
[[scenes]]
number = 1
name = "One"
routes = [ { from = "foot", to = "strings" } ]
[[scenes]]
number = 12
name = "Twelve"
routes = [ { from = "foot", to = "strings" } ]
burst = [ { instrument = "lead", sound = "A" } ]
[[controls]]
input = "foot"
"""


def controlled(control: str) -> Engine:
    router = engine(CONTROLS + control)
    recall(router, 0, 1)
    return router


@pytest.mark.parametrize(
    ("control", "message", "scene"),
    [
        ('when = { program = "any" }\ndo = "scene"', "C0 0B", 12),
        ('when = { song = "any" }\ndo = "scene"', "F3 0B", 12),
        ('when = { controller = 80 }\ndo = "scene"\nscene = 12', "B0 50 7F", 12),
        ('when = { controller = 80, at_least = 100 }\ndo = "scene"\nscene = "Twelve"', "B0 50 64", 12),
        ('when = { note = 36 }\ndo = "next"', "90 24 01", 12),
        ('when = { sysex = "F0 7D 01 F7" }\ndo = "next"', "F0 7D 01 F7", 12),
        ('when = { program = 5 }\ndo = "next"', "C9 04", 12),
        ('when = { controller = 80, at_least = 100 }\ndo = "next"', "B0 50 63", 1),
        ('when = { note = 36 }\ndo = "next"', "80 24 40", 1),
        ('when = { program = "any" }\ndo = "scene"', "C0 62", 1),
    ],
)
def test_a_control_acts_and_its_message_is_consumed(control: str, message: str, scene: int) -> None:
    """Programs and songs count from 1; a controller acts at its threshold; whatever the control does, nothing is
    routed."""
    router = controlled(control)
    out = hexed(router.receive(1, 2, bytes.fromhex(message)), 0)
    assert router.scene is not None
    assert router.scene[0] == scene
    assert message not in out


def test_an_unknown_number_is_reported_and_changes_nothing() -> None:
    """A program without a scene is consumed and reported."""
    router = controlled('when = { program = "any" }\ndo = "scene"')
    assert router.receive(1, 2, b"\xc0\x62") == []
    assert [(one.done, one.text) for one in router.reports.outcomes] == [
        (False, "there is no scene 99; nothing changed")
    ]


def test_pass_routes_the_message_as_well() -> None:
    """With pass = true the message is routed as well."""
    router = controlled('when = { program = "any" }\ndo = "scene"\npass = true')
    assert hexed(router.receive(1, 2, b"\xc0\x0b"), 0)[0] == "C0 0B"


def test_a_worn_switch_counts_once() -> None:
    """Within the guard time a second message is not a press; after it, it is. The first counts at once."""
    router = controlled('when = { controller = 80 }\ndo = "next"\nguard = "250 ms"')
    for at, message in ((0, "B0 50 7F"), (5, "B0 50 00"), (9, "B0 50 7F"), (100, "B0 50 00"), (200, "B0 50 7F")):
        router.receive(at * MS, 2, bytes.fromhex(message))
    assert len(router.reports.outcomes) == 1
    router.receive(239 * MS, 2, bytes.fromhex("B0 50 00"))
    router.receive(300 * MS, 2, bytes.fromhex("B0 50 7F"))
    assert len(router.reports.outcomes) == 2


def test_a_swept_pedal_is_one_press() -> None:
    """A pedal that sweeps up over the threshold acts once, and its values below it are consumed as well."""
    router = controlled('when = { controller = 11 }\ndo = "next"\nguard = "0 ms"')
    for value in range(0, 128, 3):
        assert hexed(router.receive(value * MS, 2, bytes((0xB0, 11, value))), 0)[3:] == []
    assert len(router.reports.outcomes) == 1


def test_a_set_list_is_walked() -> None:
    """next and back follow the set list; at its ends they stay, say so and send nothing; any recall moves the place."""
    router = engine(CONTROLS + 'when = { note = 1 }\ndo = "next"')
    recall(router, 0, 1)
    outcome, out = command(router, 1, "next", None, "test")
    assert (outcome.done, outcome.scene, len(out)) == (True, (12, "Twelve"), 3)
    assert command(router, 2, "next", None, "test")[0].scene == (1, "One")
    outcome, out = command(router, 3, "next", None, "test")
    assert (outcome.done, out) == (False, [])
    assert outcome.text == "already at the end of set list Friday"
    recall(router, 4, 12)
    assert command(router, 5, "back", None, "test")[0].scene == (1, "One")
    assert command(router, 6, "back", None, "test")[0].done is False


def test_recalling_the_scene_in_force_sends_its_burst_again() -> None:
    """Recalling the scene in force sends its burst again, and so does resend."""
    router = controlled('when = { note = 1 }\ndo = "next"')
    burst = hexed(recall(router, 1, 12))
    assert burst == ["B0 00 01", "B0 20 0B", "C0 14"]
    now, _ = run_dry(router, 1)
    assert hexed(recall(router, now, 12)) == burst
    now, _ = run_dry(router, now)
    assert hexed(command(router, now, "resend", None, "test")[1]) == burst


@pytest.mark.parametrize(
    ("use", "sent"),
    [
        ("none", ["C4 0B"]),
        ("msb", ["B4 00 01", "C4 0B"]),
        ("lsb", ["B4 20 02", "C4 0B"]),
        ("msb lsb", ["B4 00 01", "B4 20 02", "C4 0B"]),
    ],
)
def test_each_instrument_gets_the_bank_messages_it_listens_to(use: str, sent: list[str]) -> None:
    """The bank messages that the instrument uses, in the order high, low, program (MIDI 1.0 p. 13)."""
    assert [m.hex(" ").upper() for m in select(4, (1, 2), 11, use)] == sent


def test_programs_count_as_printed() -> None:
    """Printed 12 is sent as 0B; if the manual counts from 0, as 0C."""
    rig = PORTS.replace("WIRE", "fast") + (
        '[instruments.zero]\noutput = "brass"\nchannel = 3\nprograms_from = 0\nbank = "none"\n'
        '[[scenes]]\nnumber = 1\nname = "A"\nburst = [ { instrument = "zero", program = 12 }, '
        '{ output = "brass", channel = 4, program = 12 } ]'
    )
    router = engine_of(read(rig, "test"))
    assert hexed(recall(router, 0, 1)) == ["C2 0C", "C3 0B"]


def _always(given: Any) -> Any:
    """A filter that answers everything with this."""
    return lambda settings: lambda message, now: given


@pytest.fixture
def registry_anew() -> Iterator[Callable[[], None]]:
    """Forgets the filters found so far, and does so again when the test is over."""
    yield registry.cache_clear
    registry.cache_clear()


def test_a_filter_that_fails_is_stepped_over(
    monkeypatch: pytest.MonkeyPatch, registry_anew: Callable[[], None]
) -> None:
    """A filter that fails lets the message through, and its fault is counted and recorded with file and line; so does
    one that answers with an invalid message."""
    answers = ((b"\x90",), (bytearray(b"\x90\x3d\x40"),), ([0x90, 0x3D, 0x40],), (None,), None, b"\x90\x3d\x40", 7)
    rubbish = [_always(given) for given in answers]
    for broken in (lambda settings: lambda message, now: 1 / 0, *rubbish):
        with monkeypatch.context() as patch:
            registry_anew()
            patch.setattr(filters.transpose, "build", broken)
            router = routed('{ filter = "transpose", semitones = 1 }')
            assert receive(router, 1, 0, "90 3C 40") == ["90 3C 40"]
            assert router.state.faults.counts == {"transpose": 1}


def test_the_burst_is_in_the_order_of_the_standard() -> None:
    """Bank high, bank low, program (bank-order: MIDI 1.0 p. 13); a printed program is one more than the byte sent."""
    entry = check_value("bank-order")
    sent = select(entry.input["channel"] - 1, (1, 2), entry.input["program_wire"])
    assert b"".join(sent) == bytes.fromhex(entry.expected)
    numbers = check_value("program-wire")
    for one, other in zip(numbers.input["printed"], numbers.expected["wire"], strict=True):
        router = engine(
            f'[[scenes]]\nnumber = 1\nname = "A"\nburst = [ {{ output = "brass", channel = 1, program = {one} }} ]'
        )
        assert recall(router, 0, 1) == [(1, bytes((0xC0, other)), 0)]


def test_the_receiver_of_these_tests_follows_the_standard() -> None:
    """The bank acts at the next program change and stays, a high byte alone clears the low one, Reset All Controllers
    leaves it, and All Notes Off may be ignored.

    Sources: bank-latent, bank-sticky, bank-lsb-missing, bank-no-reset-by-121, mode-anof-omni (MIDI 1.0 p. 12, 13, 25;
    RP-015).
    """
    sounds = {"bank-sticky": (1, 2, 6), "bank-lsb-missing": (1, 0, 5), "bank-no-reset-by-121": (1, 2, 5)}
    for name in ("bank-latent", *sounds):
        synth = Receiver()
        for message in check_value(name).input:
            synth.hear(bytes.fromhex(message))
        assert synth.sound.get(0) == sounds.get(name), name
    synth = Receiver()
    for message in (b"\x90\x3c\x40", b"\xb0\x7b\x00"):
        synth.hear(message)
    assert ("ignored" if synth.held else "obeyed") == check_value("mode-anof-omni").expected


def test_an_output_that_comes_has_its_controllers_reset() -> None:
    """Reset All Controllers goes to every channel with the value 0 (reset-value-byte: RP-015)."""
    router = engine()
    sent = hexed(output_there(router, 1, 0) + run_dry(router, 1)[1], 0)
    reset = check_value("reset-value-byte").expected
    assert [one for one in sent if one[3:5] == reset[3:5]] == [f"B{channel:X}{reset[2:]}" for channel in range(16)]


def test_a_burst_is_compiled_by_output() -> None:
    """Each output gets its own steps, in the order in which they are written."""
    rig = engine().rig
    names = {name: index for index, name in enumerate(rig.outputs)}
    assert [step.channel for step in compile_burst(rig, rig.scenes[0].burst, names)[0]] == [0, 1]


def test_a_note_that_a_filter_made_of_a_pedal_does_not_hang(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plug-in's note that no key holds is ended by a scene change, the end of the show, a panic or a pulled cable."""
    import filters.transpose

    def build(settings: object) -> object:
        def pedal_plays(message: bytes, now: int) -> tuple[bytes, ...]:
            if message[:2] != b"\xb0\x40":
                return (message,)
            return (bytes((0x90 if message[2] >= 64 else 0x80, 48, 100)),)

        return pedal_plays

    monkeypatch.setattr(filters.transpose, "build", build)
    from filters.registry import registry

    registry.cache_clear()
    ends: dict[str, Callable[[Engine], list[Delivery]]] = {
        "scene": lambda router: recall(router, 3, 2),
        "show": lambda router: finish(router, 3),
        "cable": lambda router: input_lost(router, 3, 0),
        "panic": lambda router: command(router, 3, "panic", None, "test")[1],
    }
    for name, end in ends.items():
        router = routed('{ filter = "transpose", semitones = 1 }')
        assert receive(router, 1, 0, "B0 40 7F") == ["90 30 64"]
        assert hexed(end(router), 0)[:1] == ["80 30 40"], name
        assert router.state.ledger.off_rest() == 0
    router = routed('{ filter = "transpose", semitones = 1 }')
    receive(router, 1, 0, "B0 40 7F")
    assert receive(router, 2, 0, "B0 40 00") == ["80 30 64"]
    assert recall(router, 3, 2) == [], "it was released, and is not released again"
    registry.cache_clear()
