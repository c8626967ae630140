"""Every way we could think of to break what came with format 2 of the rig file, and the sentence that reports it."""

import pytest

from engine.rig.read.load import RigError, read
from tests.support.plain_rig_2 import RIG_2

LINE = '{ from = "keys", on = "bass-box", sound = "Upright", notes = "..B2", transpose = -12 }'
ENTER = 'enter = [{ on = "bass-box", send = ["volume 90", "nrpn 1/8 = 64"] }]'
LEAVE = 'leave = [{ to = "looper", send = ["stop", "go 14.5"] }]'
BRASS = 'play = [{ name = "brass", off = true }]'

# What is replaced in the good rig, by what, and every problem that must be reported: line, key, words.
BREAKS = [
    # the format
    (
        'middle_c = "C3"',
        'middle_c = "C2"',
        [(5, "rig.middle_c", 'found "C2"; allowed: "C3", "C4" or "C5"')],
    ),
    ('middle_c = "C3"', "middle_c = 3", [(5, "rig.middle_c", 'found 3; allowed: "C3", "C4" or "C5"')]),
    # play lines
    (LINE, '"keys"', [(44, "scenes.1.play.1", 'found "keys"; allowed: a table')]),
    (LINE, "{}", [(44, "scenes.1.play.1", "found an empty table; a line needs from = INPUT and on = INSTRUMENT")]),
    (
        LINE,
        LINE.replace('from = "keys", ', ""),
        [(44, "scenes.1.play.1", "transpose; a line needs from = INPUT and on = INSTRUMENT")],
    ),
    (
        LINE,
        LINE.replace('on = "bass-box", sound = "Upright", ', ""),
        [(44, "scenes.1.play.1", "transpose; a line needs from = INPUT and on = INSTRUMENT")],
    ),
    (
        LINE,
        LINE.replace("from", "form"),
        [(44, "scenes.1.play.1.form", 'unknown key "form"; did you mean "from"? allowed here: name, group, off, from')],
    ),
    (
        LINE,
        LINE.replace('"keys"', '"kyes"'),
        [(44, "scenes.1.play.1.from", 'there is no input "kyes"; did you mean "keys"? there are: keys, pedals')],
    ),
    (
        LINE,
        LINE.replace('"keys"', "[]"),
        [(44, "scenes.1.play.1.from", 'found an empty list; allowed: a name, or a list of names such as ["keys",')],
    ),
    (
        '["keys", "pedals"], on',
        '["keys", "pedal"], on',
        [(45, "scenes.1.play.2.from.2", 'there is no input "pedal"; did you mean "pedals"? there are: keys,')],
    ),
    (
        LINE,
        LINE.replace('"bass-box"', '"bass"'),
        [(44, "scenes.1.play.1.on", 'there is no instrument "bass"; did you mean "bass-box"? there are: bass-box,')],
    ),
    (
        LINE,
        LINE.replace('"bass-box"', '["bass-box"]'),
        [(44, "scenes.1.play.1.on", 'found ["bass-box"]; allowed: text in quotes')],
    ),
    (
        LINE,
        LINE.replace("Upright", "Upgright"),
        [(44, "scenes.1.play.1.sound", 'no sound "Upgright"; did you mean "Upright"? there are: Upright, Fretless')],
    ),
    (
        'on = "old-synth", velocity',
        'on = "old-synth", sound = "Warm", velocity',
        [(45, "scenes.1.play.2.sound", 'there is no sound "Warm"; there are none (sounds of "old-synth")')],
    ),
    (
        'name = "brass", through',
        'sound = 5, name = "brass", through',
        [(45, "scenes.1.play.2.sound", "found 5; allowed: text in quotes")],
    ),
    (
        LINE,
        LINE.replace('"..B2"', '"B2"'),
        [(44, "scenes.1.play.1.notes", 'found "B2"; allowed: two values, [low, high], or a range such as "C2..B3"')],
    ),
    (
        LINE,
        LINE.replace('"..B2"', '".."'),
        [(44, "scenes.1.play.1.notes", 'found ".."; allowed: two values, [low, high], or a range such as')],
    ),
    (
        LINE,
        LINE.replace('"..B2"', '"C4..H5"'),
        [(44, "scenes.1.play.1.notes", 'found "C4..H5"; allowed: a note from 0 to 127, or its name such as "C3"')],
    ),
    (
        LINE,
        LINE.replace('"..B2"', '"C4..C3"'),
        [
            (
                44,
                "scenes.1.play.1.notes",
                'found "C4..C3"; allowed: two values, [low, high], or a range such as "C2..B3", "..B3" or',
            )
        ],
    ),
    (
        LINE,
        LINE.replace('"..B2"', "48"),
        [(44, "scenes.1.play.1.notes", "found 48; allowed: two values, [low, high], or a range such as")],
    ),
    (
        '"20..127"',
        '"20..128"',
        [(45, "scenes.1.play.2.velocity", 'found "20..128"; allowed: a value from 0 to 127')],
    ),
    (
        '"20..127"',
        '"soft.."',
        [(45, "scenes.1.play.2.velocity", 'found "soft.."; allowed: a value from 0 to 127')],
    ),
    (
        LINE,
        LINE.replace("-12", "-128"),
        [(44, "scenes.1.play.1.transpose", "found -128; allowed: -127 to 127")],
    ),
    (LINE, LINE.replace("-12", '"-12"'), [(44, "scenes.1.play.1.transpose", 'found "-12"; allowed: a whole number')]),
    (
        LINE,
        LINE.replace("transpose = -12", "channel = 17"),
        [(44, "scenes.1.play.1.channel", "found 17; allowed: 1 to 16")],
    ),
    (
        LINE,
        LINE.replace("transpose = -12", 'pedal = "no"'),
        [(44, "scenes.1.play.1.pedal", 'found "no"; allowed: true or false')],
    ),
    (
        LINE,
        LINE.replace("transpose = -12", "programs = 1"),
        [(44, "scenes.1.play.1.programs", "found 1; allowed: true or false")],
    ),
    (
        LINE,
        LINE.replace("transpose = -12", 'name = "brass"'),
        [(45, "scenes.1.play.2.name", 'a second line named "brass"; give it another name')],
    ),
    (
        LINE,
        LINE.replace("transpose = -12", 'through = [{ filter = "velocty", fixed = 1 }]'),
        [(44, "scenes.1.play.1.through.1", 'unknown filter "velocty"; did you mean "velocity"? allowed here:')],
    ),
    (
        'burst = [{ instrument = "old-synth", program = 0 }]',
        'routes = [{ name = "x", from = "keys", to = "bass" }]\n[[routes]]\nname = "x"\nfrom = "keys"\nto = "bass"',
        [(56, "scenes.2.routes.1.name", 'a second route named "x"; give it another name')],
    ),
    # inputs and instruments
    (
        'stop    = ["program", "bank"]',
        'stop    = ["programs", "bank"]',
        [(9, "inputs.keys.stop", '"bank" or "all notes off"; "programs" is not')],
    ),
    ('stop    = ["program", "bank"]', 'stop    = "program"', [(9, "inputs.keys.stop", "allowed: a list of kinds of")]),
    (
        'stop    = ["program", "bank"]',
        "stop    = []",
        [(9, "inputs.keys.stop", "found an empty list; allowed: a list")],
    ),
    (
        "drop = [7]",
        "dorp = [7]",
        [(10, "inputs.keys.through.2.dorp", 'unknown key "dorp"; did you mean "drop"? allowed here: filter, keep')],
    ),
    (
        'through = [{ filter = "velocity", fixed = 90 }]',
        'through = { filter = "velocity", fixed = 90 }',
        [(22, "instruments.bass-box.through", "found one table; allowed: a list of tables")],
    ),
    ("drums   = true", 'drums   = "yes"', [(28, "instruments.old-synth.drums", 'found "yes"; allowed: true or false')]),
    (
        'setup   = ["program 0"]',
        'setup   = ["program 128"]',
        [(30, "instruments.old-synth.setup.1", 'found "program 128"; allowed: program 0 to 127, for programs count')],
    ),
    (
        'setup   = ["program 0"]',
        'setup   = ["volume 128"]',
        [(30, "instruments.old-synth.setup.1", 'found "volume 128"; allowed: "volume 0" to "127"')],
    ),
    (
        'setup   = ["program 0"]',
        'setup   = ["volume 128", "pann 3", "F0 7D", "program 0"]',
        [
            (30, "instruments.old-synth.setup.1", 'found "volume 128"; allowed: "volume 0" to "127"'),
            (30, "instruments.old-synth.setup.2", 'found "pann 3"; did you mean "pan 0"? allowed: "GM on", "GM off"'),
            (30, "instruments.old-synth.setup.3", 'found "F0 7D"; did you mean "F0 7D 01 F7"? allowed: "GM on"'),
        ],
    ),
    # sounds
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ settle = "80 ms" }',
        [
            (
                23,
                "instruments.bass-box.sounds.Fretless",
                "settle; a sound takes program, or send, or both: send goes first",
            )
        ],
    ),
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ send = ["F0 7D 01 F7"], bank = [1, 0] }',
        [(23, "instruments.bass-box.sounds.Fretless", "bank goes with program; leave it out, or select the bank in")],
    ),
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ send = ["F0 7D 01"], settle = "80 ms" }',
        [(23, "instruments.bass-box.sounds.Fretless.send.1", 'found "F0 7D 01"; did you mean "F0 7D 01 F7"?')],
    ),
    (
        '"80 ms"',
        "80",
        [
            (
                23,
                "instruments.bass-box.sounds.Fretless.settle",
                "found 80; allowed: a time with its unit, up to a minute",
            )
        ],
    ),
    # chains
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        '"soft" = { filter = "velocity", curve = -20 }',
        [(33, "chains.soft", "found one table; allowed: a list of tables")],
    ),
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        '"soft" = ["left hand"]',
        [(33, "chains.soft", 'a circle: "soft" in "left hand" in "soft"; a chain cannot be in itself, so take one')],
    ),
    (
        '["soft", { filter = "zone", notes = "..B2" }]',
        '["sfot", { filter = "zone", notes = "..B2" }]',
        [(34, 'chains."left hand".1', 'there is no chain "sfot"; did you mean "soft"? there are: soft, left hand')],
    ),
    (
        'through = ["left hand"]',
        'through = ["lefthand"]',
        [(45, "scenes.1.play.2.through.1", 'there is no chain "lefthand"; did you mean "left hand"? there are: soft')],
    ),
    (
        'through = ["left hand"]',
        'through = ["zone"]',
        [(45, "scenes.1.play.2.through.1", 'there is no chain "zone"; for the filter write { filter = "zone" }')],
    ),
    (
        'through = ["left hand"]',
        "through = [5]",
        [(45, "scenes.1.play.2.through.1", "found 5; allowed: a table")],
    ),
    (
        '"left hand" = ["soft", { filter = "zone", notes = "..B2" }]',
        '"left hand" = [' + '"soft", ' * 257 + "]",
        [(34, 'chains."left hand"', "with the chains in it this one has more than 256 filters and names; make it")],
    ),
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        "\n".join(f'"e{each}" = ["e{each + 1}", "e{each + 1}"]' for each in range(60))
        + '\n"e60" = []\n"soft" = ["e0"]',
        [(33, "chains.e0", "with the chains in it this one has more than 256 filters and names; make it shorter")],
    ),
    (
        'through = ["left hand"]',
        "through = [" + '"left hand", ' * 100 + "]",
        [(45, "scenes.1.play.2.through", "the chains in it have more than 256 filters and names; make it shorter")],
    ),
    # like
    (
        "like   = 11",
        "like   = 13",
        [(54, "scenes.2.like", "there is no scene 13; there are: 11, 12, Overture, Finale")],
    ),
    (
        "like   = 11",
        'like   = "Overtrue"',
        [(54, "scenes.2.like", 'there is no scene "Overtrue"; did you mean "Overture"? there are: 11, 12,')],
    ),
    (
        "like   = 11",
        "like   = 12",
        [(54, "scenes.2.like", "a circle: scene 12 is like 12; let one of them stand by itself")],
    ),
    (
        'cue    = "14"\n',
        'cue    = "14"\nlike = 12\n',
        [(40, "scenes.1.like", "a circle: scene 11 is like 12 is like 11; let one of them stand by itself")],
    ),
    ("like   = 11", "like   = true", [(54, "scenes.2.like", "found true; allowed: a whole number, or text in quotes")]),
    (
        "like   = 11\n",
        "",
        [
            (
                54,
                "scenes.2.play.1.off",
                '"brass" cannot be taken away: this scene is not like another; add like = NUMBER',
            )
        ],
    ),
    (
        BRASS,
        BRASS.replace('"brass"', '"bras"'),
        [(55, "scenes.2.play.1.name", 'there is no inherited line "bras"; did you mean "brass"? there are: brass')],
    ),
    (
        BRASS,
        "play = [{ off = true }]",
        [(55, "scenes.2.play.1", "found a table with off; off goes with the name of an inherited line, and with")],
    ),
    (
        BRASS,
        'play = [{ name = "brass", off = true, from = "keys", on = "bass-box" }]',
        [(55, "scenes.2.play.1", "off goes with the name of an inherited line, and with nothing else")],
    ),
    (
        BRASS + '\nburst = [{ instrument = "old-synth", program = 0 }]',
        'play = [{ from = "keys", on = "bass-box", sound = "Upright" }]\n'
        'burst = [{ instrument = "bass-box", program = 1 }]',
        [(55, "scenes.2.play.1.sound", 'the burst of this scene has a step for "bass-box" already; keep either')],
    ),
    # scenes
    ('cue    = "14.5"', 'cue    = "14"', [(53, "scenes.2.cue", 'scene 11 already has the cue "14"; give this one')]),
    ('cue    = "14.5"', 'cue    = "014"', [(53, "scenes.2.cue", 'scene 11 already has the cue "014"; give this one')]),
    ('cue    = "14.5"', "cue    = 14.5", [(53, "scenes.2.cue", "found 14.5; allowed: text in quotes")]),
    ('cue    = "14.5"', 'cue    = ""', [(53, "scenes.2.cue", 'found ""; allowed: text that is not empty')]),
    (
        '"watch the drummer"',
        '"watch\\u001b[2J"',
        [(40, "scenes.1.text", "allowed: text without control characters")],
    ),
    ("tempo  = 126", "tempo  = 301", [(41, "scenes.1.tempo", "found 301; allowed: 20 to 300 beats per minute")]),
    ("tempo  = 126", 'tempo  = "fast"', [(41, "scenes.1.tempo", 'found "fast"; allowed: 20 to 300 beats per minute')]),
    ("transpose = -2", "transpose = 1.5", [(42, "scenes.1.transpose", "found 1.5; allowed: a whole number")]),
    # enter and leave
    (
        ENTER,
        ENTER.replace('on = "bass-box", ', ""),
        [(47, "scenes.1.enter.1", "found a table with send; give either on = INSTRUMENT or to = OUTPUT")],
    ),
    (
        ENTER,
        ENTER.replace('on = "bass-box"', 'on = "bass-box", to = "bass"'),
        [(47, "scenes.1.enter.1", "give either on = INSTRUMENT or to = OUTPUT")],
    ),
    (
        ENTER,
        ENTER.replace("bass-box", "bass-bx"),
        [(47, "scenes.1.enter.1.on", 'there is no instrument "bass-bx"; did you mean "bass-box"? there are:')],
    ),
    (
        ENTER,
        'enter = [{ on = "bass-box" }]',
        [(47, "scenes.1.enter.1.send", "this key is missing; it is required here")],
    ),
    (
        ENTER,
        ENTER.replace("volume 90", "volum 90"),
        [(47, "scenes.1.enter.1.send.1", 'found "volum 90"; did you mean "volume 0"? allowed: "GM on"')],
    ),
    (
        ENTER,
        ENTER.replace("1/8 = 64", "1/8 = 128"),
        [(47, "scenes.1.enter.1.send.2", 'found "nrpn 1/8 = 128"; allowed: "nrpn 1/8 = 64"')],
    ),
    (
        ENTER,
        ENTER.replace("1/8 = 64", "1/128 = 6"),
        [(47, "scenes.1.enter.1.send.2", 'found "nrpn 1/128 = 6"; allowed: "nrpn 1/8 = 64"')],
    ),
    (
        ENTER,
        ENTER.replace('["volume 90", "nrpn 1/8 = 64"]', '"volume 90"'),
        [(47, "scenes.1.enter.1.send", 'found "volume 90"; allowed: a list of messages, such as')],
    ),
    (
        LEAVE,
        LEAVE.replace('"stop"', '"program 0"'),
        [(48, "scenes.1.leave.1.send.1", '"program 0" needs a channel, and an output has none; write on')],
    ),
    (
        ENTER,
        ENTER.replace("volume 90", "controller 40 = 90 / 14"),
        [(47, "scenes.1.enter.1.send.1", 'found "controller 40 = 90 / 14"; allowed: "controller 7')],
    ),
    (
        ENTER,
        ENTER.replace("volume 90", "program 0"),
        [(47, "scenes.1.enter.1.send.1", 'found "program 0"; allowed: program 1 to 128, for programs count from 1')],
    ),
    (
        LEAVE,
        LEAVE.replace("go 14.5", "go 14.5a"),
        [(48, "scenes.1.leave.1.send.2", 'found "go 14.5a"; allowed: "go 14.5"')],
    ),
    (
        LEAVE,
        LEAVE.replace('"stop"', '"volume 3"'),
        [(48, "scenes.1.leave.1.send.1", '"volume 3" needs a channel, and an output has none; write on = INSTRUMENT')],
    ),
    (
        LEAVE,
        LEAVE.replace("looper", "loopr"),
        [(48, "scenes.1.leave.1.to", 'there is no output "loopr"; did you mean "looper"? there are: bass, looper')],
    ),
    (LEAVE, LEAVE.replace('["stop", "go 14.5"]', '"stop"'), [(48, "scenes.1.leave.1.send", "allowed: a list of")]),
]


def test_the_rig_is_whole_before_it_is_broken() -> None:
    """It loads."""
    assert [scene.cue for scene in read(RIG_2, "pit.toml").scenes] == ["14", "14.5"]


@pytest.mark.parametrize(("old", "new", "expected"), BREAKS, ids=[f"{old} => {new}"[:80] for old, new, _ in BREAKS])
def test_each_break_is_reported_by_line_key_and_sentence(
    old: str, new: str, expected: list[tuple[int, str, str]]
) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence.

    What is allowed: the rig file's own definition (handbook). The lines are those of the text in `plain_rig_2`.
    """
    assert RIG_2.count(old) == 1
    with pytest.raises(RigError) as caught:
        read(RIG_2.replace(old, new), "pit.toml")
    assert [(problem.line, problem.key) for problem in caught.value.problems] == [case[:2] for case in expected]
    for problem, (_, _, words) in zip(caught.value.problems, expected, strict=True):
        assert words in problem.text
        assert problem.file == "pit.toml"


def test_in_format_1_each_key_of_format_2_is_reported_with_the_format_that_it_needs() -> None:
    """Nothing of it is taken for something else."""
    with pytest.raises(RigError) as caught:
        read(RIG_2.replace("format = 2", "format = 1"), "pit.toml")
    keys = {
        "rig.middle_c",
        "inputs.keys.stop",
        "inputs.keys.through",
        "instruments.bass-box.through",
        "instruments.bass-box.sounds.Fretless.send",
        "instruments.bass-box.sounds.Fretless.settle",
        "instruments.old-synth.drums",
        "chains",
        *(f"scenes.1.{key}" for key in ("cue", "text", "tempo", "transpose", "play", "enter", "leave")),
        *(f"scenes.2.{key}" for key in ("cue", "like", "play")),
    }
    assert {problem.key for problem in caught.value.problems} == keys
    assert {problem.text for problem in caught.value.problems} == {
        "this key needs format = 2 in the first line of the file; it says 1"
    }


def test_what_scenes_inherit_has_a_limit() -> None:
    """Ten thousand lines that are inherited a hundred times are reported, and not held in memory."""
    lines = ",\n".join('{ from = "keys", on = "bass-box" }' for _ in range(5000))
    many = "".join(f'\n[[scenes]]\nnumber = {n}\nname = "S{n}"\nlike = 11\n' for n in range(100, 150))
    with pytest.raises(RigError, match="have more than 200000 lines; inherit less"):
        read(RIG_2.replace(LINE, lines) + many, "pit.toml")
