"""Every way we could think of to break a play line of a rig file, and the sentence that reports it."""

from tests.support.broken_rig_2 import Break, broken, check

LINE = '{ from = "keys", on = "bass-box", sound = "Upright", notes = "..B2", transpose = -12 }'
BREAKS: list[tuple[str, str, list[tuple[int, str, str]]]] = [
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
]


@broken(BREAKS)
def test_each_break_is_reported_by_line_key_and_sentence(found: Break) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence."""
    check(found)
