"""Messages that command: which ones do, what they do, and what becomes of the messages, tested in a whole rig.

Sources: MIDI 1.0 Detailed Specification 4.2.1 as "MIDI 1.0"; what is our own design has no outside source.
"""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.core.commands import MuteRoute, UnmuteRoute
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.bouncing_switch import Change, bursts, presses
from tests.support.engine_calls import adopt, command, engine_of, input_lost, recall, wake_up
from tests.support.pit_engine import MS, PORTS, engine, hexed, run_dry

KEYS, PADS, FOOT = 0, 1, 2
STRINGS, BRASS = 0, 1
SCENES = """
[[routes]]
name = "all"
from = ["keys", "pads", "foot"]
to = "brass"
[[scenes]]
number = 1
name = "One"
[[scenes]]
number = 2
name = "Two"
[[scenes]]
number = 12
name = "Twelve"
[[scenes]]
number = 13
name = "Thirteen"
"""


def control(when: str, do: str = 'do = "next"', more: str = "", source: str = "foot") -> str:
    return f'[[controls]]\ninput = "{source}"\nwhen = {{ {when} }}\n{do}\n{more}\n'


def router(*controls: str, scenes: str = SCENES) -> Engine:
    """The rig above with these controls, in scene 1."""
    made = engine(scenes + "".join(controls))
    recall(made, 0, 1)
    run_dry(made, 0)
    return made


def play(made: Engine, at: float, message: str, source: int = FOOT) -> list[str]:
    """What reaches the brass when this arrives at `at` ms; anything due before then happens first."""
    now = round(at * MS)
    wait(made, at)
    return hexed(made.receive(now, source, bytes.fromhex(message)), BRASS)


def wait(made: Engine, until: float) -> list[str]:
    """What reaches the brass up to `until` ms."""
    out = []
    while made.due is not None and made.due <= until * MS:
        due = made.due
        out += made.tick(due)
        assert made.due is None or made.due > due, "time must get on"
    return hexed(out, BRASS)


def told(made: Engine) -> list[tuple[str, bool, str]]:
    """What became of commands since the last call: the command, whether it was done, the sentence."""
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    return [(each.do, each.done, each.text) for each in outcomes]


def sources(made: Engine) -> list[str]:
    outcomes, made.reports.outcomes = made.reports.outcomes, []
    return [each.source for each in outcomes]


def scene_of(made: Engine) -> int | None:
    return made.scene[0] if made.scene else None


def step_on(made: Engine, changes: Sequence[Change], number: int = 64, form: str = "controller") -> list[str]:
    """Move a pedal or a key by these changes; returns what reaches the brass."""
    out = []
    for at, closed in changes:
        if form == "controller":
            message = f"B0 {number:02X} {127 if closed else 0:02X}"
        else:
            message = f"{'90' if closed else '80'} {number:02X} 40"
        out += play(made, at / MS, message)
    return out


# Which message is a command


@pytest.mark.parametrize(
    ("when", "message", "meets"),
    [
        ("controller = 64", "B0 40 40", True),  # MIDI 1.0 Table III: a switch is on from 64
        ("controller = 64", "B0 40 3F", False),
        ("controller = 64, at_least = 1", "B0 40 01", True),
        ("controller = 64, at_least = 100, at_most = 110", "B0 40 6E", True),
        ("controller = 64, at_least = 100, at_most = 110", "B0 40 6F", False),
        ("controller = 64, at_most = 10", "B0 40 00", True),
        ("controller = 64, at_most = 10", "B0 40 0B", False),
        ("note = 36", "90 24 01", True),
        ("note = 36", "90 24 00", False),  # MIDI 1.0 p. 10: a note-on of velocity 0 is a note-off
        ("note = 36", "80 24 40", False),
        ("note = 36", "A0 24 40", False),
        ("note = [36, 40]", "90 28 40", True),
        ('note = "any"', "9F 7F 40", True),
        ("program = 12", "C0 0B", True),
        ("program = [11, 13]", "C5 0C", True),
        ("song = 1", "F3 00", True),
        ("song = [1, 4]", "F3 03", True),
        ('sysex = "F0 7D 01 02 F7"', "F0 7D 01 02 F7", True),
        ("controller = 64, channel = 2", "B1 40 7F", True),
        ("note = 36, channel = 16", "9F 24 40", True),
        ("program = 12, channel = 1", "C0 0B", True),
        ('controller = 20, turn = "up"', "B0 14 01", True),
        ('controller = 20, turn = "up"', "B0 14 3F", True),
        ('controller = 20, turn = "up"', "B0 14 7F", False),
        ('controller = 20, turn = "down"', "B0 14 7F", True),
        ('controller = 20, turn = "down"', "B0 14 41", True),
        ('controller = 20, turn = "down"', "B0 14 01", False),
        ('controller = 20, turn = "down"', "B0 14 40", False),
        ('controller = 20, turn = "up"', "B0 14 00", False),
    ],
)
@pytest.mark.parametrize("passes", [False, True])
def test_a_condition_owns_its_messages(when: str, message: str, meets: bool, passes: bool) -> None:
    """Each of these messages belongs to its control, whether it commands or not: none is routed unless passed."""
    made = router(control(when, more="pass = true" if passes else ""))
    assert play(made, 1, message) == ([message] if passes else [])
    assert [do for do, _, _ in told(made)] == ["next"] * meets
    assert scene_of(made) == (2 if meets else 1)


@pytest.mark.parametrize(
    ("when", "message"),
    [
        ("controller = 64", "B0 41 7F"),
        ("controller = 64, channel = 2", "B0 40 7F"),
        ("note = 36, channel = 2", "90 24 40"),
        ("note = [36, 40]", "90 29 40"),
        ("program = 12", "C0 0C"),
        ("program = [11, 13], channel = 3", "C0 0B"),
        ("song = 1", "F3 01"),
        ('sysex = "F0 7D 01 02 F7"', "F0 7D 01 02 03 F7"),
        ('sysex = "F0 7D 01 02 F7"', "F0 7D 01 F7"),
        ("note = 36", "B0 24 7F"),
        ("controller = 36", "90 24 7F"),
        ("program = 37", "D0 24"),
    ],
)
def test_other_messages_are_music(when: str, message: str) -> None:
    """A message that meets no condition is routed and commands nothing."""
    made = router(control(when))
    assert play(made, 1, message) == [message]
    assert told(made) == []


@pytest.mark.parametrize(("message", "scene"), [("C0 0B", 12), ("CF 00", 1), ("F3 00", 1), ("F3 0C", 13)])
def test_printed_numbers_are_scene_numbers(message: str, scene: int) -> None:
    """C0 0B is program 12 on the gear's panel and recalls scene 12; F3 00 is song 1 (common practice, no source)."""
    made = router(control('program = "any"', 'do = "scene"'), control('song = "any"', 'do = "scene"'))
    recall(made, 0, 2)
    play(made, 1, message)
    assert scene_of(made) == scene


def test_a_number_without_a_scene_is_reported_and_consumed() -> None:
    """Program 99 in a rig without scene 99 changes nothing, is not routed and is reported."""
    made = router(control('program = "any"', 'do = "scene"'))
    assert play(made, 1, "C0 62") == []
    assert told(made) == [("scene", False, "there is no scene 99; nothing changed")]


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize(
    ("narrow", "wide", "message", "meant_for_wide"),
    [
        ("program = 5", "program = [1, 9]", "C0 04", "C0 05"),
        ("program = [4, 6]", 'program = "any"', "C0 04", "C0 07"),
        ("note = 36", 'note = "any"', "90 24 40", "90 25 40"),
        ("song = 5", 'song = "any"', "F3 04", "F3 05"),
        ("controller = 64, channel = 2", "controller = 64", "B1 40 7F", "B0 40 7F"),
        ("note = 36, channel = 10", "note = 36", "99 24 40", "90 24 40"),
    ],
)
def test_the_narrower_condition_wins(narrow: str, wide: str, message: str, meant_for_wide: str, reverse: bool) -> None:
    """A single number comes before a range, a range before "any", a channel before all, in whatever order listed."""
    both = [control(narrow, 'do = "panic"'), control(wide, 'do = "resend"')]
    made = router(*(both[::-1] if reverse else both))
    play(made, 1, message)
    assert [do for do, _, _ in told(made)] == ["panic"]
    play(made, 1000, meant_for_wide)
    assert [do for do, _, _ in told(made)] == ["resend"]


def test_where_the_narrower_one_does_not_hold_the_wider_one_does() -> None:
    """A control for scene 2 alone leaves its number to the "any number" control in other scenes."""
    made = router(
        control("program = 12", 'do = "panic"', "scenes = [2]"),
        control('program = "any"', 'do = "scene"'),
    )
    recall(made, 0, 2)
    play(made, 1, "C0 0B")
    assert (scene_of(made), [do for do, _, _ in told(made)]) == (2, ["panic"])
    recall(made, 500 * MS, 1)
    play(made, 1000, "C0 0B")
    assert scene_of(made) == 12


@pytest.mark.parametrize("reverse", [False, True])
def test_a_control_of_some_scenes_goes_before_one_of_all(reverse: bool) -> None:
    """Of two controls for the same message, the one for this scene is meant, in whatever order they are listed."""
    both = [control("note = 36", 'do = "panic"', "scenes = [2]"), control("note = 36", 'do = "resend"')]
    made = router(*(both[::-1] if reverse else both))
    recall(made, 0, 2)
    play(made, 1, "90 24 40")
    recall(made, 500 * MS, 1)
    play(made, 1000, "90 24 40")
    assert [do for do, _, _ in told(made) if do != "scene"] == ["panic", "resend"]


def test_zones_of_one_pedal_are_switches_of_their_own() -> None:
    """A pedal pressed half way commands one thing, and pressed on to the bottom another."""
    made = router(
        control("controller = 4, at_least = 40, at_most = 99", 'do = "resend"'),
        control("controller = 4, at_least = 100", 'do = "first"'),
    )
    for place, value in enumerate((0, 20, 50, 60, 105, 127, 60, 0)):
        assert play(made, 100 * (place + 1), f"B0 04 {value:02X}") == []
    assert [do for do, _, _ in told(made)] == ["resend", "first", "resend"]


def test_a_pedal_that_is_swept_is_one_press() -> None:
    """Every value of a pedal from heel to toe and back is consumed, and one press is counted each time it passes."""
    made = router(control("controller = 4"))
    sweep = [*range(0, 128, 3), *range(127, -1, -3)]
    for place, value in enumerate(sweep):
        assert play(made, 5 * place, f"B0 04 {value:02X}") == []
    assert len(told(made)) == 1


def test_a_switch_that_sends_the_same_value_at_each_press() -> None:
    """If a switch sends 7F at each press and nothing in between, each press counts (common practice, no source)."""
    made = router(control("controller = 64", 'do = "resend"'))
    for at in (0, 200, 400):
        play(made, at, "B0 40 7F")
    assert len(told(made)) == 3


def test_every_step_of_a_knob_counts() -> None:
    """Quick steps are not bounces: ten of them are ten commands."""
    made = router(control('controller = 20, turn = "up"'), control('controller = 20, turn = "down"', 'do = "back"'))
    for at in range(3):
        play(made, at, "B0 14 01")
    assert scene_of(made) == 13
    for at in range(3, 5):
        play(made, at, "B0 14 7F")
    assert scene_of(made) == 2


@pytest.mark.parametrize("moved", ["B0 40 7F", "B0 01 33", "E0 12 50", "D0 20"])
def test_what_the_input_of_a_control_moved_stays_while_it_is_fed(moved: str) -> None:
    """A pedal, wheel, bend or pressure that no control of its input looks at is not set to rest at a recall: the new
    scene still feeds it."""
    made = router(control("controller = 80"))
    assert play(made, 1, moved) == [moved]
    assert recall(made, 2 * MS, 2) == []
    assert made.state.ledger.off_rest() == 1


# What they do

DOING = """
[[routes]]
name = "pads"
from = "pads"
to = "strings"
[[setlists]]
name = "Friday"
scenes = [1, 12, 2]
[sync.clock]
from = "internal"
bpm = 120
to = ["strings"]
[sync.timecode]
from = "internal"
rate = "25"
start = "01:00:00:00"
to = ["strings"]
"""


def doing(*controls: str) -> Engine:
    return router(*controls, scenes=DOING + SCENES)


@pytest.mark.parametrize(
    ("do", "outcome"),
    [
        ('do = "scene"\nscene = "Thirteen"', ("scene", True, "scene 13 Thirteen")),
        ('do = "next"', ("next", True, "scene 12 Twelve")),
        ('do = "back"', ("back", False, "already at the beginning of set list Friday")),
        ('do = "first"', ("first", True, "scene 1 One")),
        ('do = "resend"', ("resend", True, "scene 1 One sent again")),
        ('do = "panic"', ("panic", True, "panic: 0 notes released, everything silenced on 2 outputs")),
        ('do = "tap"', ("tap", True, "clock stopped, 120 bpm")),
        ('do = "clock start"', ("clock", True, "clock running, 120 bpm")),
        ('do = "clock continue"', ("clock", True, "clock running, 120 bpm")),
        ('do = "clock stop"', ("clock", False, "the clock is already stopped; nothing changed")),
        ('do = "timecode start"', ("timecode", True, "time code running from 01:00:00:00")),
        ('do = "timecode stop"', ("timecode", False, "the time code is already stopped; nothing changed")),
        ('do = "mute"\nroute = "pads"', ("mute", True, "pads muted")),
        ('do = "unmute"\nroute = "pads"', ("unmute", False, "pads is not muted")),
        ('do = "send"\noutput = "brass"\nmessages = ["B0 07 64"]', ("send", True, "1 message sent to brass")),
    ],
)
def test_every_action_answers(do: str, outcome: tuple[str, bool, str]) -> None:
    """Each action reports in one sentence what it did, or why nothing changed."""
    made = doing(control("note = 36", do))
    play(made, 1, "90 24 40")
    assert told(made) == [outcome]


def test_clock_and_time_code_by_foot() -> None:
    """Start, stop and continue of the clock are FA, FC and FB on its outputs (MIDI 1.0 p. 30); time code runs on."""
    made = doing(
        control("program = 1", 'do = "clock start"'),
        control("program = 2", 'do = "clock stop"'),
        control("program = 3", 'do = "clock continue"'),
        control("program = 4", 'do = "timecode start"'),
        control("program = 5", 'do = "timecode stop"'),
    )
    heard: list[str] = []
    for place in range(5):
        now = (place + 1) * 100 * MS
        heard += hexed(made.tick(now), STRINGS)
        heard += hexed(made.receive(now, FOOT, bytes((0xC0, place))), STRINGS)
    assert [message for message in heard if message in ("FA", "FB", "FC")] == ["FA", "FC", "FB"]
    assert "F8" in heard
    assert any(message.startswith(("F1", "F0 7F 7F 01 01")) for message in heard)
    assert made.state.sync.code is not None
    assert not made.state.sync.code.running


def test_a_tapped_tempo() -> None:
    """Four taps half a second apart are 120 beats per minute."""
    made = doing(control("controller = 64", 'do = "tap"'))
    step_on(made, presses(tuple((at, at + 90) for at in (0, 600, 1200, 1800))))
    assert told(made)[-1] == ("tap", True, "clock stopped, 100 bpm")


def test_a_muted_route_leaves_nothing_behind() -> None:
    """When a route is muted, its held notes keep their gesture until they are silent, and then what it moved rests."""
    made = doing(
        control("program = 1", 'do = "mute"\nroute = "pads"'), control("program = 2", 'do = "unmute"\nroute = "pads"')
    )
    made.receive(0, PADS, bytes.fromhex("90 3C 40"))
    made.receive(0, PADS, bytes.fromhex("B0 01 33"))
    assert hexed(made.receive(MS, FOOT, b"\xc0\x00"), STRINGS) == []
    assert hexed(made.receive(2 * MS, PADS, bytes.fromhex("90 3E 40")), STRINGS) == []
    assert hexed(made.receive(2 * MS, PADS, bytes.fromhex("B0 01 22")), STRINGS) == ["B0 01 22"]
    assert hexed(made.receive(3 * MS, PADS, bytes.fromhex("80 3C 40")), STRINGS) == ["80 3C 40"]
    assert hexed(made.tick(503 * MS), STRINGS) == ["B0 01 00"]
    made.receive(900 * MS, FOOT, b"\xc0\x01")
    assert hexed(made.receive(901 * MS, PADS, bytes.fromhex("90 3E 40")), STRINGS) == ["B0 01 22", "90 3E 40"]
    assert told(made) == [("mute", True, "pads muted"), ("unmute", True, "pads plays again")]


def test_named_messages_are_sent_in_order() -> None:
    """A list of messages goes to its output whole and in order, SysEx included."""
    messages = ["F0 7D 01 F7", "B0 07 64", "C0 05"]
    listed = ", ".join(f'"{one}"' for one in messages)
    made = doing(control("note = 36", f'do = "send"\noutput = "brass"\nmessages = [{listed}]'))
    assert play(made, 1, "90 24 40") == messages


# Worn switches


@given(st.sampled_from(["controller", "note"]), bursts(), bursts(), st.integers(60, 400))
def test_a_worn_pedal_is_one_command_a_press(
    form: str, down: Sequence[float], up: Sequence[float], length: int
) -> None:
    """Bounces of 1 to 40 ms at both ends count as one press, at once, and none of them is routed (common practice)."""
    made = router(control(f"{form} = 64"))
    assert step_on(made, presses(((0, length), (1000, 1000 + length)), down, up), form=form) == []
    assert scene_of(made) == 12
    assert len(told(made)) == 2


@pytest.mark.parametrize("when", ['program = "any"', "program = [12, 13]"])
def test_the_guard_is_for_one_switch(when: str) -> None:
    """While program 12 bounces, program 13 from the switch next to it still counts."""
    made = router(control(when, 'do = "scene"', 'guard = "250 ms"'))
    for at, message in ((0, "C0 0B"), (5, "C0 0B"), (8, "C0 0C"), (12, "C0 0B"), (13, "C0 0C")):
        play(made, at, message)
    assert [text for _, _, text in told(made)] == ["scene 12 Twelve", "scene 13 Thirteen"]
    play(made, 300, "C0 0B")
    assert scene_of(made) == 12


def test_the_guard_is_a_window_from_the_press_that_counted() -> None:
    """guard = "250 ms", presses at 0, 100 and 300 ms: the first and the last count."""
    made = router(control("program = 2", 'do = "resend"', 'guard = "250 ms"'))
    for at in (0, 100, 300):
        play(made, at, "C0 01")
    assert len(told(made)) == 2


def test_a_bounce_after_the_scene_has_changed_is_a_bounce() -> None:
    """A switch that means next in one scene and back in another does not go there and back on one worn press."""
    made = router(
        control("controller = 64", 'do = "next"', "scenes = [1]"),
        control("controller = 64", 'do = "back"', "scenes = [2]"),
    )
    assert step_on(made, presses(((0, 100),), (0, 3, 5), (0, 2, 4))) == []
    assert [do for do, _, _ in told(made)] == ["next"]


# Short, long and double


THREE = (
    control('controller = 64, press = "short"', 'do = "next"'),
    control('controller = 64, press = "long"', 'do = "first"'),
    control('controller = 64, press = "double"', 'do = "back"'),
)


@pytest.mark.parametrize(
    ("feet", "done"),
    [
        (((0, 100),), ["next"]),
        (((0, 900),), ["first"]),
        (((0, 100), (250, 350)), ["back"]),
        (((0, 100), (900, 1000), (2000, 3000)), ["next", "next", "first"]),
    ],
)
@pytest.mark.parametrize("form", ["controller", "note"])
@pytest.mark.parametrize("burst", [(0,), (0, 4, 9, 15, 22, 29, 31, 38, 40)])
def test_one_switch_for_three_things(
    feet: Sequence[tuple[int, int]], done: list[str], form: str, burst: Sequence[float]
) -> None:
    """Short, long and double presses of one switch are distinguished, worn or not, and no part of them is routed."""
    made = router(*(one.replace("controller", form) for one in THREE))
    assert step_on(made, presses(feet, burst, burst), form=form) == []
    wait(made, 9000)
    assert [do for do, _, _ in told(made)] == done


def test_times_of_presses_can_be_set() -> None:
    """`hold` and `between` of a control set the times of its long and its double press."""
    made = router(
        control('note = 36, press = "short"', 'do = "next"'),
        control('note = 36, press = "long"', 'do = "first"', 'hold = "2 s"'),
        control('note = 36, press = "double"', 'do = "panic"', 'between = "100 ms"'),
    )
    step_on(made, presses(((0, 1900), (3000, 3100), (3250, 3350), (4000, 4100), (4150, 4250))), 36, "note")
    wait(made, 9000)
    assert [do for do, _, _ in told(made)] == ["next", "next", "next", "panic"]


def test_every_outcome_says_what_was_pressed() -> None:
    """The report names the press where presses are distinguished; for other commands it gives the message in words."""
    made = router(*THREE, control("program = 12", 'do = "resend"'), control('note = 40, press = "long"'))
    step_on(made, presses(((0, 100), (1000, 1900), (3000, 3100), (3200, 3300))))
    play(made, 5000, "C0 0B")
    step_on(made, presses(((6000, 7000),)), 40, "note")
    assert sources(made) == [
        "foot, controller 64, short press",
        "foot, controller 64, long press",
        "foot, controller 64, double press",
        "foot, channel 1 program 12",
        "foot, note 40, long press",
    ]


# Scenes that a control holds in


@pytest.mark.parametrize(("only", "acts"), [("", True), ("scenes = [1]", False), ('songs = ["Market"]', False)])
def test_before_the_first_scene_a_control_for_some_does_nothing(only: str, acts: bool) -> None:
    """Only one that is for all scenes and songs acts while none is in force."""
    song = '[[songs]]\nname = "Market"\nscenes = [1]\n'
    ports = PORTS.replace("format = 1", "format = 2").replace("WIRE", "din")
    rig = ports + SCENES + song + control("note = 36", 'do = "panic"', only)
    made = engine_of(read(rig, "test"))
    play(made, 1, "90 24 40")
    assert [do for do, *_ in told(made)] == ["panic"] * acts


def test_a_control_holds_only_in_its_scenes() -> None:
    """Scenes are given by number or name; in other scenes the control's message is music."""
    made = router(control("note = 36", 'do = "next"', 'scenes = [1, "Twelve"]'))
    assert (play(made, 0, "90 24 40"), scene_of(made)) == ([], 2)
    play(made, 100, "80 24 40")
    assert (play(made, 1000, "90 24 40"), scene_of(made)) == (["90 24 40"], 2)
    assert play(made, 1100, "80 24 40") == ["80 24 40"]
    recall(made, 2000 * MS, 12)
    assert (play(made, 3000, "90 24 40"), scene_of(made)) == ([], 13)


@pytest.mark.parametrize(
    ("form", "down", "up"), [("note", "90 24 40", "80 24 40"), ("controller", "B0 24 7F", "B0 24 00")]
)
@pytest.mark.parametrize("press", ["", ', press = "short"', ', press = "long"', ', press = "double"'])
def test_a_switch_that_is_down_while_the_scene_changes(form: str, down: str, up: str, press: str) -> None:
    """Where the control does not apply, its release is consumed and commands nothing, and the next press is music."""
    made = router(control(f"{form} = 36{press}", 'do = "next"', "scenes = [1]"))
    assert play(made, 0, down) == []
    recall(made, 50 * MS, 13)
    told(made)
    assert play(made, 200, up) == []
    wait(made, 5000)
    assert told(made) == []
    assert play(made, 6000, down) == [down]
    assert play(made, 6100, up) == [up]
    recall(made, 7000 * MS, 1)
    step_on(made, presses(((8000, 8100), (8300, 9500), (10000, 10100))), 36, form)
    wait(made, 20000)
    assert scene_of(made) == 2


@pytest.mark.parametrize("until", [300, 900])
def test_a_press_that_is_completed_in_another_scene(until: int) -> None:
    """A press begun where the control applies and released, or held long enough, where it does not commands nothing."""
    made = router(
        control('note = 36, press = "short"', 'do = "next"', "scenes = [1]"),
        control('note = 36, press = "long"', 'do = "back"', "scenes = [1]"),
    )
    play(made, 0, "90 24 40")
    recall(made, 50 * MS, 13)
    told(made)
    assert play(made, until, "80 24 40") == []
    wait(made, 5000)
    assert (told(made), scene_of(made)) == ([], 13)


def test_a_note_that_was_music_when_it_was_pressed_is_released() -> None:
    """A key pressed where it is music sounds until its release, even if it belongs to a control by then."""
    made = router(control("note = 36", 'do = "resend"', "scenes = [2]"))
    assert play(made, 0, "90 24 40") == ["90 24 40"]
    recall(made, 10 * MS, 2)
    assert play(made, 20, "A0 24 20") == ["A0 24 20"]
    assert play(made, 30, "80 24 40") == ["80 24 40"]
    assert play(made, 40, "90 24 40") == []
    assert play(made, 100, "80 24 40") == []
    assert made.state.ledger.sounding() == 0


def test_a_pedal_that_was_music_when_it_was_pressed_comes_to_rest() -> None:
    """A pedal held into a scene where it is a control is released at the recall: its own release will be consumed."""
    made = router(control("controller = 64", 'do = "resend"', "scenes = [2]"))
    assert play(made, 0, "B0 40 7F") == ["B0 40 7F"]
    assert hexed(recall(made, 10 * MS, 2), BRASS) == ["B0 40 00"]
    assert play(made, 20, "B0 40 00") == []
    assert made.state.ledger.off_rest() == 0


def test_a_pedal_that_passes_is_not_left_down() -> None:
    """With pass = true its release is routed like its press, whatever scene is in force."""
    made = router(control("controller = 64", 'do = "next"', "scenes = [1]\npass = true"))
    assert play(made, 0, "B0 40 7F") == ["B0 40 7F"]
    assert scene_of(made) == 2
    assert play(made, 500, "B0 40 00") == ["B0 40 00"]


@st.composite
def evenings(draw: st.DrawFn) -> list[tuple[int, str, int]]:
    """Waits in ms, what is done, and the number of a switch or a scene."""
    steps = st.tuples(
        st.integers(0, 700),
        st.sampled_from(["key", "pedal", "program", "scene", "lose", "edit"]),
        st.sampled_from([1, 2, 12, 13]),
    )
    return draw(st.lists(steps, max_size=40))


HOLDS = (
    control("note = 1", 'do = "next"', "scenes = [1, 12]"),
    control('note = [1, 12], press = "long"', 'do = "back"', "scenes = [2]"),
    control('note = 2, press = "double"', 'do = "first"'),
    control('note = "any", channel = 1', 'do = "resend"', "scenes = [13]\npass = true"),
    control("controller = 64", 'do = "next"', "scenes = [2]"),
    control('controller = 64, press = "long"', 'do = "first"', "scenes = [1, 2]"),
    control("controller = 1, at_most = 20", 'do = "back"', "scenes = [12]\npass = true"),
    control('program = "any"', 'do = "scene"', "scenes = [1, 2, 13]"),
)


@given(evenings(), st.permutations(HOLDS))
def test_nothing_hangs_whatever_scene_a_switch_is_let_go_in(
    steps: list[tuple[int, str, int]], holds: Sequence[str]
) -> None:
    """After any playing, recalls, edits and pulled cables, with all keys and pedals up: no note sounds, everything is
    at rest, and each note-on that went out has its note-off (MIDI 1.0 p. A-4)."""
    made, now = router(*holds[:6]), 0
    sent: list[str] = []
    down: set[int] = set()
    pedal = False
    for gap, what, which in [*steps, (900, "up", 0), (5000, "up", 0)]:
        now += gap
        sent += wait(made, now)
        if (what == "key" and which in down) or what == "up":
            for key in [which] if what == "key" else sorted(down):
                sent += play(made, now, f"80 {key:02X} 40")
                down.discard(key)
        elif what == "key":
            sent += play(made, now, f"90 {which:02X} 40")
            down.add(which)
        if what == "pedal" or (what == "up" and pedal):
            pedal = not pedal
            sent += play(made, now, f"B0 40 {127 * pedal:02X}")
        elif what == "program":
            sent += play(made, now, f"C0 {which - 1:02X}")
        elif what == "scene":
            sent += hexed(recall(made, now * MS, which), BRASS)
        elif what == "lose":
            down, pedal = set(), False
            sent += hexed(input_lost(made, now * MS, FOOT), BRASS)
        elif what == "edit":
            made, out = edited(made, now, *holds[which % 8 :])
            sent += out
    assert made.state.ledger.sounding() == made.state.ledger.off_rest() == 0
    assert made.due is None
    for key in (1, 2, 12, 13):
        assert sent.count(f"90 {key:02X} 40") <= sent.count(f"80 {key:02X} 40")


# Edited rigs and pulled cables


def edited(old: Engine, at: float, *controls: str) -> tuple[Engine, list[str]]:
    """The rig with these controls instead, and what reaches the brass as it takes over."""
    text = rig_text() + "".join(controls)
    return old, hexed(adopt(old, round(at * MS), read(text, "test")), BRASS)


def rig_text() -> str:
    return PORTS.replace("WIRE", "fast") + SCENES


@pytest.mark.parametrize("kept", [True, False])
@pytest.mark.parametrize(("down", "up"), [("90 24 40", "80 24 40"), ("B0 24 7F", "B0 24 00")])
def test_a_switch_that_is_down_during_an_edit(kept: bool, down: str, up: str) -> None:
    """Its release is consumed and commands nothing, whether its control is still in the rig or not."""
    one = control("note = 36" if down.startswith("9") else "controller = 36", 'do = "resend"')
    made = router(one)
    assert play(made, 0, down) == []
    told(made)
    made, out = edited(made, 10, *([one] if kept else []), control("program = 9"))
    assert out == []
    assert play(made, 500, up) == []
    wait(made, 5000)
    assert told(made) == []
    assert play(made, 6000, down) == ([] if kept else [down])
    assert len(told(made)) == kept


def test_a_bounce_after_an_edit_is_a_bounce() -> None:
    """An edit in the middle of a bounce does not make a second press of it."""
    one = control("program = 2", 'do = "resend"', 'guard = "250 ms"')
    made = router(one)
    play(made, 0, "C0 01")
    told(made)
    made, _ = edited(made, 2, one, control("note = 3"))
    assert play(made, 4, "C0 01") == []
    assert told(made) == []


@pytest.mark.parametrize("kept", [True, False])
def test_a_press_under_way_during_an_edit(kept: bool) -> None:
    """A long press is reported if the edited rig still has it, and not if it was removed."""
    made = router(*THREE)
    play(made, 0, "B0 40 7F")
    made, _ = edited(made, 100, *(THREE if kept else THREE[::2]))
    wait(made, 1000)
    play(made, 1000, "B0 40 00")
    wait(made, 5000)
    assert [do for do, _, _ in told(made)] == ["first"] * kept


def test_a_pedal_that_becomes_a_control_comes_to_rest() -> None:
    """If an edit makes a control of a held pedal, the pedal is released at once; its own release is then consumed."""
    made = router(control("note = 3"))
    assert play(made, 0, "B0 40 7F") == ["B0 40 7F"]
    made, out = edited(made, 10, control("note = 3"), control("controller = 64"))
    assert out == ["B0 40 00"]
    assert play(made, 20, "B0 40 00") == []
    assert told(made) == []


@pytest.mark.parametrize("how", ["pulled", "asleep"])
def test_a_cable_pulled_while_a_switch_is_down(how: str) -> None:
    """A switch whose cable is pulled, or that was down as the machine fell asleep, reports no long press."""
    made = router(*THREE)
    play(made, 0, "B0 40 7F")
    if how == "pulled":
        input_lost(made, 100 * MS, FOOT)
    else:
        wake_up(made, 100 * MS)
    wait(made, 3000)
    assert told(made) == []
    step_on(made, presses(((5000, 5100),)))
    wait(made, 9000)
    assert [do for do, _, _ in told(made)] == ["next"]


# Set lists

TWICE = """
[[setlists]]
name = "Friday"
scenes = [1, 12, "Two", 12]
[[setlists]]
name = "Matinee"
scenes = [13, 2]
"""


def test_a_set_list_to_its_end_and_back() -> None:
    """next walks the list, including a scene listed twice; at the end it stays, says so and sends nothing."""
    made = router(control("note = 1", 'do = "next"'), control("note = 2", 'do = "back"'), scenes=TWICE + SCENES)
    walked = []
    for step in range(5):
        out = play(made, 1000 * step, "90 01 40")
        walked.append(scene_of(made))
    assert walked == [12, 2, 12, 12, 12]
    assert out == []
    assert told(made)[-1] == ("next", False, "already at the end of set list Friday")
    walked = []
    for step in range(5, 9):
        play(made, 1000 * step, "90 02 40")
        walked.append(scene_of(made))
    assert walked == [2, 12, 1, 1]
    assert told(made)[-1] == ("back", False, "already at the beginning of set list Friday")


@pytest.mark.parametrize(("entry", "scene", "then"), [(2, 12, 2), (4, 12, 12), (1, 1, 12), (3, 2, 12)])
def test_any_entry_can_be_jumped_to(entry: int, scene: int, then: int) -> None:
    """Where a scene is listed twice the place matters: next goes on from the entry that was asked for."""
    made = router(scenes=TWICE + SCENES)
    outcome, _ = command(made, 1, "entry", entry, "test")
    assert (outcome.done, outcome.scene and outcome.scene[0]) == (True, scene)
    assert (position := command(made, 2, "next", None, "test")[0].scene) is not None
    assert position[0] == then


@pytest.mark.parametrize("entry", [0, 5, -1])
def test_an_entry_that_is_not_there(entry: int) -> None:
    """The answer lists the set lists there are, and nothing changes."""
    made = router(scenes=TWICE + SCENES)
    outcome, out = command(made, 1, "entry", entry, "test")
    assert (outcome.done, out, scene_of(made)) == (False, [], 1)
    assert outcome.text == f"there is no entry {entry} in set list Friday, only 1 to 4; nothing changed"


def test_another_set_list() -> None:
    """Choosing a list changes no sound; next begins it, or goes on from the scene in force if the list has it."""
    made = router(scenes=TWICE + SCENES)
    outcome, out = command(made, 1, "setlist", "Matinee", "test")
    assert (outcome.done, outcome.text, out) == (True, "set list Matinee, next is scene 13 Thirteen", [])
    assert scene_of(made) == 1
    assert command(made, 2, "next", None, "test")[0].scene == (13, "Thirteen")
    command(made, 3, "setlist", "Friday", "test")
    assert command(made, 4, "next", None, "test")[0].scene == (1, "One")
    recall(made, 5, 2)
    assert command(made, 6, "setlist", "Matinee", "test")[0].text == "set list Matinee, last entry"
    outcome, _ = command(made, 7, "setlist", "Sunday", "test")
    assert (outcome.done, outcome.text) == (
        False,
        'there is no set list "Sunday"; there are: Friday, Matinee; nothing changed',
    )


def test_a_misspelt_name_is_answered_with_the_one_that_was_meant() -> None:
    """A scene that does not exist is quoted, with the name most like it and all others, unless a switch asked for its
    number; a route that does not is neither muted nor unmuted."""
    made = router(scenes=DOING + SCENES)
    recall(made, 0, 1)
    for asked, text in (
        ("thirteem", 'there is no scene "thirteem"; nothing changed. Did you mean "Thirteen"? There are: 1 '),
        ("", 'there is no scene ""; nothing changed. There are: 1 '),
        ("99", "there is no scene 99; nothing changed. There are: 1 "),
    ):
        assert command(made, 1, "scene", asked, "test")[0].text.startswith(text)
    assert command(made, 1, "scene", 99, "test")[0].text == "there is no scene 99; nothing changed"
    for asked_for in (MuteRoute("padz"), UnmuteRoute("padz")):
        outcome = made.apply(2, asked_for, "test").outcome
        meant = 'there is no route "padz"; did you mean "pads"? there are: all, pads; nothing changed'
        assert (outcome.done, outcome.text) == (False, meant)
