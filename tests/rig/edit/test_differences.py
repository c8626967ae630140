"""Differences in words. The wording is our own; no outside source."""

import pytest
from hypothesis import given, settings

from engine.rig.edit import differences
from engine.rig.edit.differences import rigs, scenes, text
from engine.rig.edit.filter_words import NOTE_WORDS, WORDS
from engine.rig.read.load import read
from filters.registry import registry
from tests.support.plain_rig import RIG
from tests.support.plain_rig_2 import RIG_2
from tests.support.random_rig_files import rig_texts


@settings(max_examples=20)
@given(rig_texts(), rig_texts())
def test_only_equal_rigs_have_no_difference(one: str, other: str) -> None:
    """Two rigs have differences in words exactly if they differ."""
    a, b = read(one, "a"), read(other, "b")
    assert rigs(a, a) == []
    assert (rigs(a, b) == []) == (a == b)


def test_two_scenes_in_words() -> None:
    """What one scene has and the other lacks is reported."""
    rig = read(RIG, "any")
    found = scenes(rig, 11, 12)
    assert found[0] == "name: Overture in 11, Finale in 12"
    assert 'only in 11: burst step string-machine: sound "Warm pad"' in found
    assert scenes(rig, 12, 11)[0] == "name: Finale in 12, Overture in 11"


def test_two_scenes_with_the_same_in_another_order() -> None:
    """For two scenes that send the same in another order, the order is the only difference reported."""
    steps = ['{ instrument = "old-synth", program = 3 }', '{ instrument = "string-machine", program = 4 }']
    made = "".join(
        f'[[scenes]]\nnumber = {number}\nname = "Same {number}"\nburst = [{", ".join(order)}]\n'
        for number, order in ((21, steps), (22, steps[::-1]))
    )
    assert scenes(read(RIG + made, "any"), 21, 22)[1:] == ["the burst steps differ in order or number"]


def test_a_scene_with_another_number_is_the_same_scene() -> None:
    """A renumbered scene is reported as renumbered, with what else changed in it, not as one removed and one new."""
    made = RIG.replace("number = 12", 'number = 31\nheld = "cut"')
    assert rigs(read(RIG, "any"), read(made, "any")) == [
        "scene 12 Finale is now scene 31",
        "scene 31: held was ring, is cut",
    ]


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ('filter = "channels", map = { 1 = 5 }', "channel 1 to 5"),
        ('filter = "channels", keep = [1, 2]', "only channels 1, 2"),
        ('filter = "zone", notes = [0, 59], velocity = [1, 80]', "notes C-1 to B3, velocity 1 to 80"),
        ('filter = "add_bank", channels = { 1 = [2, 0] }', "bank 2/0 on channel 1"),
        (
            'filter = "add_bank", programs = { 7 = { bank = [81, 3], program = 77 } }',
            "bank 81/3 before program 7, sent as program 77",
        ),
        ('filter = "notes", map = { C4 = "D4" }', "note C4 to D4"),
        ('filter = "controllers", range = { 7 = [0, 100] }', "controller 7 from 0 to 100"),
        ('filter = "controllers", stretch = { 11 = [5, 118] }', "controller 11 stretched from 5 to 118"),
        ('filter = "controllers", curve = { 11 = -30 }', "controller 11 curve -30"),
        ('filter = "zone", notes = [0, 59], fade = 4', "notes C-1 to B3, fade over 4 keys"),
        ('filter = "catch", controllers = [7, 11]', "controllers 7, 11 caught"),
        ('filter = "echo", beats = 0.5', "echo every 0.5 beats"),
        (
            'filter = "parameters", drop = ["rpn 0/0"], map = { "NRPN 1/8" = "controller 74" }',
            "without rpn 0/0, nrpn 1/8 to controller 74",
        ),
        ('filter = "parameters", range = { "nrpn 1/8" = [0, 100] }', "nrpn 1/8 from 0 to 100"),
        ('filter = "transpose", semitones = -12', "transposed by -12 semitones"),
        ('filter = "clock", block = true', "clock block"),
        ('filter = "thin", milliseconds = 20', "thin milliseconds 20"),
    ],
)
def test_a_filter_in_words(step: str, words: str) -> None:
    """Channels, notes and banks of a filter are named as such; MIDI note 60 is C4."""
    route = 'routes = [ { from = "keys", to = "strings", through = [ { STEP } ] } ]'
    made = '[[scenes]]\nnumber = 21\nname = "Filtered"\n' + route.replace("STEP", step)
    made += '\n[[scenes]]\nnumber = 22\nname = "Plain"\n'
    assert f"only in 21: route keys to strings through {words}" in scenes(
        read((RIG + made).replace("format = 1", "format = 2"), "any"), 21, 22
    )


def test_the_words_are_of_filters_and_keys_that_exist() -> None:
    """A key that is renamed or removed must not keep words of its own. (No outside source.)"""
    for name, key in (*WORDS, *NOTE_WORDS):
        assert key in registry()[name].settings.model_fields


def test_equal_texts_have_no_lines() -> None:
    """A unified diff names both sides and is empty for equal texts."""
    assert text("a\n", "a\n", "old", "new") == ""
    assert text("a\n", "b\n", "old", "new").splitlines()[:2] == ["--- old", "+++ new"]


def test_a_control_in_words() -> None:
    """A control is reported with its condition as written, a single number as one number."""
    control = '\n[[controls]]\ninput = "pedals"\nwhen = { note = NOTE }\ndo = "back"\nguard = "40 ms"\n'
    one, other = (read(RIG + control.replace("NOTE", note), "any") for note in ("3", "[3, 5]"))
    assert rigs(one, other) == [
        "control removed: input pedals when note 3 do back guard 40 ms",
        "control added: input pedals when note 3 to 5 do back guard 40 ms",
    ]


def test_a_time_in_words() -> None:
    """Times are reported in milliseconds."""
    made = RIG.replace('settle  = "30 ms"', 'settle  = "1.5 s"')
    assert made != RIG
    assert rigs(read(RIG, "any"), read(made, "any")) == ["instrument string-machine: settle was 30 ms, is 1500 ms"]


def test_a_blank_step_in_words() -> None:
    """A step that sends nothing is reported as blank."""
    rig = read(RIG.replace(', sound = "Warm pad"', ""), "any")
    assert "only in 11: burst step string-machine: blank" in scenes(rig, 11, 12)


NUMBERS = """
format = 1
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "b" }
[instruments.string-machine]
output = "strings"
channel = 5
sounds = { "Warm pad" = { bank = [0, 3], program = 12 } }
[[scenes]]
number = 1
name = "One"
burst = [ { instrument = "string-machine", bank = [0, 3], program = 12 } ]
[[scenes]]
number = 2
name = "Two"
burst = [
  { output = "strings", channel = 5, bank = [0, 3], program = 12 },
  { output = "strings", channel = 6, program = 12 },
]
"""


def test_a_sound_that_is_given_by_number_is_named() -> None:
    """A step with a program is reported with the sound's name, by instrument or by its output and channel."""
    assert scenes(read(NUMBERS, "any"), 1, 2)[1:] == [
        "only in 1: burst step string-machine: program 12, bank 0/3 (Warm pad)",
        "only in 2: burst step strings channel 5: program 12, bank 0/3 (Warm pad)",
        "only in 2: burst step strings channel 6: program 12",
    ]


def test_a_sound_with_a_new_name_is_no_other_step() -> None:
    """A renamed sound is reported once, for its instrument, and not for each step with its number."""
    found = rigs(read(NUMBERS, "any"), read(NUMBERS.replace("Warm pad", "Choir"), "any"))
    assert len(found) == 1
    assert found[0].startswith("instrument string-machine: sounds was Warm pad")


def test_a_scene_of_many_routes_is_compared_in_one_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two scenes of 500 routes are compared with fewer than ten comparisons of texts for each route."""
    compared = 0

    class Counted(str):
        __slots__ = ()
        __hash__ = str.__hash__

        def __eq__(self, other: object) -> bool:
            nonlocal compared
            compared += 1
            return str(self) == str(other)

    usual = differences._route
    monkeypatch.setattr(differences, "_route", lambda route, middle_c: Counted(usual(route, middle_c)))
    many = "".join(
        f'[[scenes]]\nnumber = {number}\nname = "{number}"\nroutes = [\n'
        + "".join(f'{{ from = "keys", to = "strings", name = "{number} {each}" }},\n' for each in range(500))
        + "]\n"
        for number in (11, 12)
    )
    ports = '[inputs]\nkeys = { port = "a" }\n[outputs]\nstrings = { port = "b" }\n'
    rig = read(f"format = 1\n{ports}{many}", "any")
    assert len(scenes(rig, 11, 12)) == 1001
    assert compared < 5000


def test_two_scenes_of_format_2_in_words() -> None:
    """Scenes are compared with all that they inherit; lines and what is sent are said as players say it."""
    rig = read(RIG_2.replace("like   = 11", "like   = 11\ntranspose = 0"), "pit.toml")
    assert differences.scenes(rig, 11, 12) == [
        "name: Overture in 11, Finale in 12",
        "cue: 14 in 11, 14.5 in 12",
        "text: watch the drummer in 11, none in 12",
        "transpose: -2 in 11, 0 in 12",
        'only in 11: line "brass" keys and pedals on old-synth, velocity 20 to 127, chain "left hand"',
        "only in 12: burst step old-synth: program 0",
    ]


def test_what_an_edit_of_format_2_changed_in_words() -> None:
    """The saved differences say what is written: what a scene is like, what it takes away, what it sends."""
    before = read(RIG_2, "pit.toml")
    text = RIG_2.replace('like   = 11\nplay = [{ name = "brass", off = true }]\n', "")
    text = text.replace('"go 14.5"', '"go 15"').replace("transpose = -12 }", "pedal = false }")
    assert differences.rigs(before, read(text, "pit.toml")) == [
        "scene 11: line removed: keys on bass-box, sound Upright, notes C-2 to B2, transpose -12",
        "scene 11: line added: keys on bass-box, sound Upright, notes C-2 to B2, without pedals",
        "scene 11: message on leaving removed: stop, go 14.5 to looper",
        "scene 11: message on leaving added: stop, go 15 to looper",
        "scene 12: like was 11, is none",
        'scene 12: line removed: "brass" taken away',
    ]
