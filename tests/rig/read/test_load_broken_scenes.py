"""Every way we could think of to break what format 2 says of scenes, and the sentence that reports it."""

import pytest

from engine.rig.read.load import RigError, read
from tests.support.broken_rig_2 import Break, broken, check
from tests.support.plain_rig_2 import RIG_2

LINE = '{ from = "keys", on = "bass-box", sound = "Upright", notes = "..B2", transpose = -12 }'
ENTER = 'enter = [{ on = "bass-box", send = ["volume 90", "nrpn 1/8 = 64"] }]'
LEAVE = 'leave = [{ to = "looper", send = ["stop", "go 14.5"] }]'
BRASS = 'play = [{ name = "brass", off = true }]'
BREAKS: list[tuple[str, str, list[tuple[int, str, str]]]] = [
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


@broken(BREAKS)
def test_each_break_is_reported_by_line_key_and_sentence(found: Break) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence."""
    check(found)


def test_the_rig_is_whole_before_it_is_broken() -> None:
    """It loads."""
    assert [scene.cue for scene in read(RIG_2, "pit.toml").scenes] == ["14", "14.5"]


def test_what_scenes_inherit_has_a_limit() -> None:
    """Ten thousand lines that are inherited a hundred times are reported, and not held in memory."""
    lines = ",\n".join('{ from = "keys", on = "bass-box" }' for _ in range(5000))
    many = "".join(f'\n[[scenes]]\nnumber = {n}\nname = "S{n}"\nlike = 11\n' for n in range(100, 150))
    with pytest.raises(RigError, match="have more than 200000 lines; inherit less"):
        read(RIG_2.replace(LINE, lines) + many, "pit.toml")
