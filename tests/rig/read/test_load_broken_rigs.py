"""Every way we could think of to break a rig file, and the sentence that reports it."""

import pytest

from engine.rig.read.load import RigError, read
from tests.support.plain_rig import RIG

# What is replaced in the good rig, by what, and every problem that must be reported: line, key, words.
BREAKS = [
    # syntax
    (
        'do    = "next"',
        "do    = next",
        [(67, "do", "this is not TOML: found no value; allowed: a number, true, false, text")],
    ),
    (
        'do    = "next"',
        'do    = "next"\ndo = "back"',
        [(68, "do", "this is not TOML: this key is given a second time; keep one of the two")],
    ),
    (
        'do    = "next"',
        'do    = "next"\n[inputs]\nx = 1',
        [(68, "inputs", "this is not TOML: this section is given a second time; merge the two")],
    ),
    ('do    = "next"', 'do    = "next', [(67, "do", "this is not TOML: the closing quote of a text is missing")]),
    ('name = "pads"', 'name = "pads', [(31, "name", "this is not TOML: the closing quote of a text is missing")]),
    (
        "[[scenes]]\nnumber = 12",
        "[[scenes\nnumber = 12",
        [(50, "", "this is not TOML: expected ']]' at the end of an array declaration")],
    ),
    (
        'name = "pads"',
        'name "pads"',
        [(31, "", "this is not TOML: found a key without a value; write KEY = VALUE, such")],
    ),
    (
        "semitones = -12 },",
        "semitones = -12 },,",
        [(41, "", "this is not TOML: found no value; allowed: a number, true, false, text")],
    ),
    (
        "semitones = -12 },",
        "semitones = -12, },",
        [(41, "", "this is not TOML: found no key; a table { } must be on one line,")],
    ),
    (
        '["strings", "drums"]',
        '["strings", "drums"',
        [(39, "", "this is not TOML: found no value; allowed: a number, true, false, text")],
    ),
    # unknown sections
    ("[rig]", "[rigg]", [(3, "rigg", 'unknown key "rigg"; did you mean "rig"? allowed here: format, include, rig,')]),
    (
        'do    = "next"',
        'do    = "next"\n[synch.clock]\nbpm = 1',
        [(68, "synch", 'unknown key "synch"; did you mean "sync"? allowed here: format, include, rig,')],
    ),
    (
        'do    = "next"',
        'do    = "next"\n[remotes]\ndevice = 1',
        [(68, "remotes", 'unknown key "remotes"; did you mean "remote"? allowed here: format, include, rig,')],
    ),
    (
        'do    = "next"',
        'do    = "next"\n[remote]\ndevice = 1',
        [(68, "remote.inputs", "this key is missing; it is required here")],
    ),
    # format
    ("format = 1", "format = 3", [(1, "format", "found 3; allowed: 1 or 2")]),
    ("format = 1", "", [(1, "format", "this key is missing; it is required here")]),
    # rig
    (
        'start = "Finale"',
        'start = "Finaly"',
        [(5, "rig.start", 'there is no scene "Finaly"; did you mean "Finale"? there are: 11, 12,')],
    ),
    (
        'start = "Finale"',
        "start = 13",
        [(5, "rig.start", 'there is no scene 13; there are: 11, 12, Overture, Finale, or "last"')],
    ),
    (
        'start = "Finale"',
        'start = "11"',
        [(5, "rig.start", 'there is no scene "11"; did you mean 11? there are: 11, 12, Overture')],
    ),
    (
        'start = "Finale"',
        "start = [[1]]",
        [(5, "rig.start", "found a list of 1; allowed: text in quotes, or a whole number")],
    ),
    (
        'start = "Finale"',
        "start = [1]",
        [(5, "rig.start", "found [1]; allowed: text in quotes, or a whole number")],
    ),
    (
        'name  = "Pit"',
        'nmae  = "Pit"',
        [(4, "rig.nmae", 'unknown key "nmae"; did you mean "name"? allowed here: name, start')],
    ),
    ('name  = "Pit"', "name  = 5", [(4, "rig.name", "found 5; allowed: text in quotes")]),
    # inputs
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = { port = "Stage piano*", device = "/dev/x" }',
        [(8, "inputs.keys", "found a table with port, device; give either port (a pattern on the")],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        "keys   = {}",
        [(8, "inputs.keys", "found an empty table; give either port (a pattern on the system's port")],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = "Stage piano*"',
        [(8, "inputs.keys", 'found "Stage piano*"; allowed: a table')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = { prot = "Stage piano*" }',
        [(8, "inputs.keys.prot", 'unknown key "prot"; did you mean "port"? allowed here: port, device')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = { port = "" }',
        [(8, "inputs.keys.port", 'found ""; allowed: text that is not empty')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = { port = "Foot controller*" }',
        [(9, "inputs.pedals.port", '"pedals" and "keys" are the same port "Foot controller*"; keep one of')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        '"ke/ys" = { port = "S*" }\nkeys   = { port = "Stage piano*" }',
        [(8, 'inputs."ke/ys"', 'found "ke/ys"; allowed: a non-empty name without slashes or control')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        '"" = { port = "S*" }\nkeys   = { port = "Stage piano*" }',
        [(8, 'inputs.""', 'found ""; allowed: a non-empty name without slashes or control')],
    ),
    (
        'keys   = { port = "Stage piano*" }',
        'keys   = { port = "Stage piano*", wire = "din" }',
        [(8, "inputs.keys.wire", 'unknown key "wire"; allowed here: port, device')],
    ),
    # outputs
    ('wire = "din"', 'wire = "usb"', [(13, "outputs.strings.wire", 'found "usb"; allowed: "din" or "fast"')]),
    ('wire = "din"', "wire = true", [(13, "outputs.strings.wire", 'found true; allowed: "din" or "fast"')]),
    (
        'wire = "din"',
        'wire = "din", clock = "no"',
        [(13, "outputs.strings.clock", 'unknown key "clock"; allowed here: port, device, machine, wire')],
    ),
    (
        'drums   = { port = "Box*2" }',
        'drums   = { port = "Box*1" }',
        [(14, "outputs.drums.port", '"drums" and "strings" are the same port "Box*1"; keep one of the two')],
    ),
    (
        'drums   = { port = "Box*2" }',
        "drums.port   = 2",
        [(14, "outputs.drums.port", "found 2; allowed: text in quotes")],
    ),
    (
        'wire = "din"',
        'wire = "din", running_status = "yes"',
        [(13, "outputs.strings.running_status", 'found "yes"; allowed: true or false')],
    ),
    (
        'wire = "din"',
        'wire = "din", active_sensing = 1',
        [(13, "outputs.strings.active_sensing", "found 1; allowed: true or false")],
    ),
    (
        'wire = "din"',
        'wire = "din", runing_status = true',
        [(13, "outputs.strings.runing_status", 'unknown key "runing_status"; did you mean "running_status"?')],
    ),
    # clock and time code
    *(
        ('do    = "next"', f'do    = "next"\n[sync.{section}]\n{line}', [(69, f"sync.{section}.{key}", words)])
        for section, line, key, words in (
            ("clock", "bpm = 19.9", "bpm", "found 19.9; allowed: 20 to 300 beats per minute"),
            ("clock", "bpm = 301", "bpm", "found 301; allowed: 20 to 300 beats per minute"),
            ("clock", "bpm = true", "bpm", "found true; allowed: 20 to 300 beats per minute"),
            ("clock", "bpm = nan", "bpm", "found nan; allowed: 20 to 300 beats per minute"),
            ("clock", 'bpm = "fast"', "bpm", 'found "fast"; allowed: 20 to 300 beats per minute'),
            ("clock", 'from = "pedal"', "from", 'there is no input "pedal"; did you mean "pedals"? there are: keys,'),
            ("clock", 'from = ["keys", "drums"]', "from.2", 'there is no input "drums"; there are: keys, pedals,'),
            ("clock", 'to = "drum"', "to", 'there is no output "drum"; did you mean "drums"? there are: strings,'),
            ("clock", 'to = ["strings", "keys"]', "to.2", 'there is no output "keys"; there are: strings, drums'),
            ("clock", "run = 1", "run", "found 1; allowed: true or false"),
            ("clock", "tempo = 120", "tempo", 'unknown key "tempo"; allowed here: from, bpm, to, run'),
            ("timecode", 'rate = "23.976"', "rate", 'found "23.976"; allowed: "24", "25", "29.97 drop" or "30"'),
            ("timecode", "rate = 25", "rate", 'found 25; allowed: "24", "25", "29.97 drop" or "30"'),
            ("timecode", 'from = "internl"', "from", 'there is no input "internl"; '),
            ("timecode", 'from = ["keys"]', "from", 'found ["keys"]; allowed: text in quotes'),
            ("timecode", 'to = ["strings", "brass"]', "to.2", 'there is no output "brass"; there are: strings, drums'),
            ("timecode", 'chase = "yes"', "chase", 'found "yes"; allowed: true or false'),
            ("timecode", "with_clok = true", "with_clok", 'unknown key "with_clok"; did you mean '),
        )
    ),
    *(
        (
            'do    = "next"',
            f'do    = "next"\n[sync.timecode]\nrate = "{rate}"\nstart = "{start}"',
            [(70, "sync.timecode.start", f'found "{start}"; allowed: {allowed}')],
        )
        for rate, start, allowed in (
            ("25", "00:00:00:25", "hours to 23, minutes and seconds to 59, frames to 24"),
            ("24", "24:00:00:00", "hours to 23, minutes and seconds to 59, frames to 23"),
            ("29.97 drop", "00:00:00;30", "hours to 23, minutes and seconds to 59, frames to 29"),
            ("30", "an hour", 'a time code such as "01:02:03:04"'),
        )
    ),
    # instruments
    ("channel = 5", "channel = 17", [(18, "instruments.string-machine.channel", "found 17; allowed: 1 to 16")]),
    (
        "channel = 5",
        'channel = "5"',
        [(18, "instruments.string-machine.channel", 'found "5"; allowed: a whole number')],
    ),
    (
        "channel = 5",
        "channel = 5.0",
        [(18, "instruments.string-machine.channel", "found 5.0; allowed: a whole number")],
    ),
    ("channel = 5", "", [(16, "instruments.string-machine.channel", "this key is missing; it is required here")]),
    (
        'bank    = "msb lsb"',
        'bank    = "lsb msb"',
        [(19, "instruments.string-machine.bank", 'found "lsb msb"; allowed: "none", "msb", "lsb" or "msb lsb"')],
    ),
    (
        'settle  = "30 ms"',
        "settle  = 30",
        [
            (
                20,
                "instruments.string-machine.settle",
                'found 30; allowed: a time with its unit, up to a minute, such as "30',
            )
        ],
    ),
    (
        'settle  = "30 ms"',
        'settle  = "30"',
        [
            (
                20,
                "instruments.string-machine.settle",
                'found "30"; allowed: a time with its unit, up to a minute, such as "30',
            )
        ],
    ),
    (
        'settle  = "30 ms"',
        'settle  = "90 s"',
        [
            (
                20,
                "instruments.string-machine.settle",
                'found "90 s"; allowed: a time with its unit, up to a minute, such as',
            )
        ],
    ),
    (
        'output  = "strings"',
        'output  = "string"',
        [(17, "instruments.string-machine.output", 'there is no output "string"; did you mean "strings"? there are:')],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0, 3]",
        [
            (
                21,
                'instruments.string-machine.sounds."Warm pad"',
                "found a table with bank; a sound takes program, or send, or both: send goes first",
            )
        ],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0, 3, 1], program = 12",
        [(21, 'instruments.string-machine.sounds."Warm pad".bank', "found [0, 3, 1]; allowed: a bank as [msb, lsb]")],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0], program = 12",
        [(21, 'instruments.string-machine.sounds."Warm pad".bank', "found [0]; allowed: a bank as [msb, lsb]")],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0, 128], program = 12",
        [(21, 'instruments.string-machine.sounds."Warm pad".bank.2', "found 128; allowed: 0 to 127")],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = 3, program = 12",
        [(21, 'instruments.string-machine.sounds."Warm pad".bank', "found 3; allowed: a bank as [msb, lsb]")],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0, 3], program = 0",
        [
            (
                21,
                'instruments.string-machine.sounds."Warm pad".program',
                "found 0; allowed: 1 to 128, because programs count from 1 here",
            )
        ],
    ),
    (
        "bank = [0, 3], program = 12",
        "bank = [0, 3], program = 129",
        [
            (
                21,
                'instruments.string-machine.sounds."Warm pad".program',
                "found 129; allowed: 1 to 128, or 0 to 127 for an instrument with",
            )
        ],
    ),
    (
        "program = 32",
        "program = 128",
        [
            (
                28,
                "instruments.old-synth.sounds.Bass.program",
                "found 128; allowed: 0 to 127, because programs count from 0 here",
            )
        ],
    ),
    (
        "program = 32",
        "program = 32, bank = [0, 1]",
        [
            (
                28,
                "instruments.old-synth.sounds.Bass.bank",
                'found a bank for an instrument with bank = "none"; leave it out, or',
            )
        ],
    ),
    (
        "programs_from = 0",
        "programs_from = 2",
        [(27, "instruments.old-synth.programs_from", "found 2; allowed: 0 or 1")],
    ),
    # routes
    (
        'from = "serial"',
        'from = "seriall"',
        [(32, "routes.1.from", 'there is no input "seriall"; did you mean "serial"? there are: keys,')],
    ),
    (
        'from = "serial"',
        "from = []",
        [(32, "routes.1.from", "found an empty list; allowed: a name, or a list of names such as")],
    ),
    (
        'from = "serial"',
        "from = 3",
        [(32, "routes.1.from", 'found 3; allowed: a name, or a list of names such as ["keys", "pads"]')],
    ),
    (
        'from = "serial"',
        'form = "serial"',
        [
            (30, "routes.1.from", "this key is missing; it is required here"),
            (32, "routes.1.form", 'unknown key "form"; did you mean "from"? allowed here: name, group, from, to,'),
        ],
    ),
    ('from = "serial"', "", [(30, "routes.1.from", "this key is missing; it is required here")]),
    (
        'to   = "drums"\n\n[[scenes]]\nnumber = 11',
        'to   = "serial-out"\n\n[[scenes]]\nnumber = 11',
        [(33, "routes.1.to", 'there is no output "serial-out"; there are: strings, drums')],
    ),
    (
        'scenes = [11, "Finale"]\n',
        'scenes = [11, "Finale"]\n[[setlists]]\nname = "Friday"\nscenes = [12]\n',
        [(58, "setlists.2.name", 'a second set list named "Friday"; give it another name')],
    ),
    # scenes
    (
        'name = "pads"',
        'name = "low"',
        [(43, "scenes.1.routes.2.name", 'a second route named "low"; give it another name')],
    ),
    (
        '{ from = "keys", to',
        '{ from = "keyz", to',
        [(39, "scenes.1.routes.1.from", 'there is no input "keyz"; did you mean "keys"? there are: keys, pedals,')],
    ),
    (
        '["strings", "drums"]',
        '["strings", "drum"]',
        [(39, "scenes.1.routes.1.to.2", 'there is no output "drum"; did you mean "drums"? there are: strings,')],
    ),
    ('["strings", "drums"]', '["strings", 5]', [(39, "scenes.1.routes.1.to.2", "found 5; allowed: text in quotes")]),
    (
        "keep = [1]",
        "keep = [17]",
        [(40, "scenes.1.routes.1.through.1.keep.1", "found 17; allowed: a channel from 1 to 16")],
    ),
    (
        "keep = [1]",
        "keep = 1",
        [(40, "scenes.1.routes.1.through.1.keep", "found 1; allowed: a list of channels, at least one")],
    ),
    (
        "keep = [1]",
        "map = { 99 = 1 }",
        [(40, "scenes.1.routes.1.through.1.map.99", 'found "99"; allowed: a channel from 1 to 16')],
    ),
    (
        "keep = [1]",
        "map = { 1 = 99 }",
        [(40, "scenes.1.routes.1.through.1.map.1", "found 99; allowed: a channel from 1 to 16")],
    ),
    (
        "keep = [1]",
        "kep = [1]",
        [
            (
                40,
                "scenes.1.routes.1.through.1.kep",
                'unknown key "kep"; did you mean "keep"? allowed here: filter, keep,',
            )
        ],
    ),
    (
        ", keep = [1]",
        "",
        [(40, "scenes.1.routes.1.through.1", "found a table with filter; at least one of keep, drop, map")],
    ),
    (
        "keep = [1]",
        "keep = [1], drop = [1]",
        [(40, "scenes.1.routes.1.through.1", "found a table with filter, keep, drop; channel 1 is in keep and in")],
    ),
    (
        'filter = "transpose"',
        'filter = "transpos"',
        [(41, "scenes.1.routes.1.through.2", 'unknown filter "transpos"; did you mean "transpose"? allowed here:')],
    ),
    (
        'filter = "transpose"',
        'filtr = "transpose"',
        [(41, "scenes.1.routes.1.through.2", 'the filter\'s name is missing; write filter = "NAME"')],
    ),
    (
        'filter = "transpose"',
        "filter = 5",
        [(41, "scenes.1.routes.1.through.2", 'unknown filter "5"; allowed here: add_bank, catch, channels, clock,')],
    ),
    (
        "semitones = -12",
        'semitones = "low"',
        [(41, "scenes.1.routes.1.through.2.semitones", 'found "low"; allowed: semitones from -127 to 127')],
    ),
    (
        ", semitones = -12",
        "",
        [(41, "scenes.1.routes.1.through.2.semitones", "this key is missing; it is required here")],
    ),
    (
        "semitones = -12",
        'semitones = 1, outside = "fly"',
        [(41, "scenes.1.routes.1.through.2.outside", 'found "fly"; allowed: "drop" or "fold"')],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '"transpose"',
        [(41, "scenes.1.routes.1.through.2", 'there is no chain "transpose"; for the filter write { filter =')],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '{ filter = "zone", notes = ["C4", "H9"] }',
        [
            (
                41,
                "scenes.1.routes.1.through.2.notes.2",
                'found "H9"; allowed: a note from 0 to 127, or its name such as "C4"',
            )
        ],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '{ filter = "zone", zone = { notes = 1 }, notes = ["C4", "H9"] }',
        [
            (
                41,
                "scenes.1.routes.1.through.2.notes.2",
                'found "H9"; allowed: a note from 0 to 127, or its name such as "C4"',
            ),
            (41, "scenes.1.routes.1.through.2.zone", 'unknown key "zone"; allowed here: filter, notes, velocity'),
        ],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '{ filter = "strip", kinds = ["bends"] }',
        [(41, "scenes.1.routes.1.through.2.kinds.1", 'found "bends"; allowed: one of active_sensing, aftertouch,')],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '{ filter = "add_bank", programs = { 7 = { bank = [1], program = 0 } } }',
        [
            (41, "scenes.1.routes.1.through.2.programs.7.bank", "found [1]; allowed: a bank as [msb, lsb]"),
            (41, "scenes.1.routes.1.through.2.programs.7.program", "found 0; allowed: a program from 1 to 128"),
        ],
    ),
    (
        "number = 11",
        "number = 12",
        [
            (51, "scenes.2.number", "a second scene with the number 12 (scene 1 in the file has it); choose"),
            (56, "setlists.1.scenes.1", "there is no scene 11; there are: 12, Overture, Finale"),
        ],
    ),
    (
        "number = 11",
        "number = 0",
        [
            (36, "scenes.1.number", "found 0; allowed: 1 to 16384"),
            (56, "setlists.1.scenes.1", "there is no scene 11; there are: 0, 12, Overture, Finale"),
        ],
    ),
    (
        "number = 11",
        "number = 99999",
        [
            (36, "scenes.1.number", "found 99999; allowed: 1 to 16384"),
            (56, "setlists.1.scenes.1", "there is no scene 11; there are: 99999, 12, Overture, Finale"),
        ],
    ),
    ("number = 11", 'number = "11"', [(36, "scenes.1.number", 'found "11"; allowed: a whole number')]),
    ("number = 11", "number = true", [(36, "scenes.1.number", "found true; allowed: a whole number")]),
    ("number = 11", "", [(35, "scenes.1.number", "this key is missing; it is required here")]),
    (
        'name   = "Overture"',
        'name   = "Finale"',
        [(52, "scenes.2.name", 'a second scene with the name "Finale" (scene 1 in the file has')],
    ),
    (
        'name   = "Overture"',
        'name   = "12"',
        [(37, "scenes.1.name", 'the name "12" is another scene\'s number (scene 2 in the file); change it')],
    ),
    ('name   = "Overture"', 'name   = ""', [(37, "scenes.1.name", 'found ""; allowed: text that is not empty')]),
    (
        'name   = "Overture"',
        'name   = "Overture"\nat = "00:01:00"',
        [(38, "scenes.1.at", 'found "00:01:00"; allowed: ')],
    ),
    (
        'name   = "Overture"',
        'name   = "Overture"\nat = "00:61:00:00"',
        [(38, "scenes.1.at", 'found "00:61:00:00"; allowed: ')],
    ),
    (
        'name   = "Overture"',
        'name   = "Overture"\nat = 60',
        [(38, "scenes.1.at", "found 60; allowed: text in quotes")],
    ),
    (
        'name   = "Overture"',
        'name   = "Overture"\nheld = "fade"',
        [(38, "scenes.1.held", 'found "fade"; allowed: "ring" or "cut"')],
    ),
    (
        'instrument = "string-machine",',
        'instrument = "string-machin",',
        [(46, "scenes.1.burst.1.instrument", 'there is no instrument "string-machin"; did you mean "string-machine"?')],
    ),
    (
        'sound = "Warm pad"',
        'sound = "Warm"',
        [(46, "scenes.1.burst.1.sound", 'there is no sound "Warm"; did you mean "Warm pad"? there are: Warm pad')],
    ),
    (
        'sound = "Warm pad"',
        'sound = "Warm pad", program = 3',
        [(46, "scenes.1.burst.1", "found a table with instrument, sound, program; a step for an instrument")],
    ),
    (
        'sound = "Warm pad"',
        'sound = "Warm pad", bank = [0, 1]',
        [(46, "scenes.1.burst.1", "found a table with instrument, sound, bank; leave out bank; the")],
    ),
    (
        'sound = "Warm pad"',
        'sound = "Warm pad", channel = 3',
        [(46, "scenes.1.burst.1", "found a table with instrument, sound, channel; leave out channel;")],
    ),
    (
        'sound = "Warm pad"',
        "program = 0",
        [(46, "scenes.1.burst.1.program", "found 0; allowed: 1 to 128, because programs count from 1 here")],
    ),
    (
        'output = "drums", channel = 10',
        'output = "drum", channel = 10',
        [(47, "scenes.1.burst.2.output", 'there is no output "drum"; did you mean "drums"? there are: strings,')],
    ),
    (
        'output = "drums", channel = 10',
        'output = "drums"',
        [(47, "scenes.1.burst.2", "found a table with output, bank, program; a step for an output takes")],
    ),
    (
        'output = "drums", channel = 10',
        'output = "drums", instrument = "old-synth", channel = 10',
        [
            (47, "scenes.1.burst.2", "found a table with output, instrument, channel, bank, program; give"),
            (47, "scenes.1.burst.2.bank", 'found a bank for an instrument with bank = "none"; leave it out, or'),
        ],
    ),
    (
        'output = "drums", channel = 10',
        'output = "strings", channel = 5',
        [(47, "scenes.1.burst.2", "a second step for strings channel 5 in one burst; keep one of the two")],
    ),
    (
        'output = "drums", channel = 10',
        "channel = 10",
        [(47, "scenes.1.burst.2", "found a table with channel, bank, program; give either instrument or")],
    ),
    (
        "bank = [1, 0], program = 88",
        "bank = [1, 0]",
        [(47, "scenes.1.burst.2", "found a table with output, channel, bank; a step for an output takes")],
    ),
    (
        "bank = [1, 0], program = 88",
        "bank = [1, 0], program = 0",
        [(47, "scenes.1.burst.2.program", "found 0; allowed: 1 to 128, because programs count from 1 here")],
    ),
    (
        '{ filter = "transpose", semitones = -12 }',
        '{ filter = "velocity", velocity = 3, range = [9, 5] }',
        [
            (
                41,
                "scenes.1.routes.1.through.2.range",
                "found [9, 5]; allowed: two values, [low, high], or a range such as",
            ),
            (
                41,
                "scenes.1.routes.1.through.2.velocity",
                'unknown key "velocity"; allowed here: filter, fixed, curve, range',
            ),
        ],
    ),
    # setlists
    (
        'scenes = [11, "Finale"]',
        'scenes = [11, "Final"]',
        [(56, "setlists.1.scenes.2", 'there is no scene "Final"; did you mean "Finale"? there are: 11, 12,')],
    ),
    (
        'scenes = [11, "Finale"]',
        "scenes = []",
        [(56, "setlists.1.scenes", "found an empty list; allowed: a list of at least one scene, by")],
    ),
    (
        'scenes = [11, "Finale"]',
        "scenes = [11, 1.5]",
        [(56, "setlists.1.scenes.2", "found 1.5; allowed: a whole number, or text in quotes")],
    ),
    ('name   = "Friday"', "", [(54, "setlists.1.name", "this key is missing; it is required here")]),
    (
        "[[setlists]]",
        "[setlists]",
        [(54, "setlists", "found one table; allowed: a list of tables, headed [[setlists]] in")],
    ),
    # controls
    (
        'when  = { program = "any" }',
        'when  = { program = "all" }',
        [(60, "controls.1.when.program", 'found "all"; allowed: 1 to 128, a range [first, last], or "any"')],
    ),
    (
        'when  = { program = "any" }',
        "when  = { program = 129 }",
        [(60, "controls.1.when.program", 'found 129; allowed: 1 to 128, a range [first, last], or "any"')],
    ),
    (
        'when  = { program = "any" }',
        "when  = { program = 3 }",
        [(58, "controls.1", 'found a table with input, when, do, guard; do = "scene" also needs')],
    ),
    (
        'when  = { program = "any" }',
        "when  = {}",
        [(60, "controls.1.when", "found an empty table; give exactly one of program, controller, note,")],
    ),
    (
        'when  = { program = "any" }',
        'when  = { program = "any", note = 3 }',
        [(60, "controls.1.when", "found a table with program, note; give exactly one of program,")],
    ),
    (
        'when  = { program = "any" }',
        'when  = { sysex = "F0 7D" }',
        [
            (
                60,
                "controls.1.when.sysex",
                'found "F0 7D"; allowed: a complete SysEx message in hexadecimal, such as "F0 7D 01',
            )
        ],
    ),
    (
        'when  = { program = "any" }',
        "when  = { note = 3, at_least = 5 }",
        [(60, "controls.1.when", "found a table with note, at_least; at_least goes with controller only")],
    ),
    (
        'when  = { program = "any" }',
        "when  = { controller = 64 }",
        [
            (58, "controls.1", 'found a table with input, when, do, guard; do = "scene" also needs'),
            (66, "controls.2.when", "control 1 already has this condition on the same input; keep one of the"),
        ],
    ),
    (
        'guard = "250 ms"',
        "guard = 250",
        [(62, "controls.1.guard", 'found 250; allowed: a time with its unit, up to a minute, such as "30')],
    ),
    (
        'guard = "250 ms"',
        "scene = 12",
        [(58, "controls.1", "found a table with input, when, do, scene; leave out scene; it is")],
    ),
    (
        'guard = "250 ms"',
        "passes = true",
        [(62, "controls.1.passes", 'unknown key "passes"; did you mean "pass"? allowed here: input, when,')],
    ),
    (
        'when  = { program = "any" }\ndo    = "scene"\nguard = "250 ms"\n\n[[controls]]\ninput = "pedals"\n'
        "when  = { controller = 64, at_least = 64 }",
        'when  = { sysex = "F0 7D 01 F7" }\ndo    = "back"\n\n\n[[controls]]\ninput = "pedals"\n'
        'when  = { sysex = "f07d01f7" }',
        [(66, "controls.2.when", "control 1 already has this condition on the same input; keep one of the two")],
    ),
    (
        'when  = { program = "any" }\ndo    = "scene"\nguard = "250 ms"\n\n[[controls]]\ninput = "pedals"\n'
        "when  = { controller = 64, at_least = 64 }",
        'when  = { note = 36 }\ndo    = "back"\n\n\n[[controls]]\ninput = "pedals"\n'
        'when  = { note = [36, 36], press = "short" }',
        [(66, "controls.2.when", "control 1 already has this condition on the same input; keep one of the two")],
    ),
    (
        'do    = "next"',
        'do    = "scene"\nscene = 2',
        [(68, "controls.2.scene", "there is no scene 2; there are: 11, 12, Overture, Finale")],
    ),
    (
        'do    = "next"',
        'do    = "tape"',
        [
            (
                67,
                "controls.2.do",
                'found "tape"; did you mean "tap"? allowed: "scene", "next", "back", "first", "next song",',
            )
        ],
    ),
    (
        'do    = "next"',
        'do    = "scene"',
        [(64, "controls.2", 'found a table with input, when, do; do = "scene" also needs scene =')],
    ),
    (
        'do    = "next"',
        'do    = "scene"\nscene = 99',
        [(68, "controls.2.scene", "there is no scene 99; there are: 11, 12, Overture, Finale")],
    ),
    (
        'do    = "next"',
        'do    = "next"\nscene = 12',
        [(64, "controls.2", "found a table with input, when, do, scene; leave out scene; it is")],
    ),
    ('do    = "next"', "", [(64, "controls.2.do", "this key is missing; it is required here")]),
    (
        'input = "pedals"\nwhen  = { controller',
        'input = "pedal"\nwhen  = { controller',
        [(65, "controls.2.input", 'there is no input "pedal"; did you mean "pedals"? there are: keys,')],
    ),
    (
        "when  = { controller = 64, at_least = 64 }",
        "when  = { controller = 128, at_least = 0 }",
        [
            (66, "controls.2.when.at_least", "found 0; allowed: 1 to 127"),
            (66, "controls.2.when.controller", "found 128; allowed: 0 to 127"),
        ],
    ),
]


@pytest.mark.parametrize(("old", "new", "expected"), BREAKS, ids=[f"{old} => {new}" for old, new, _ in BREAKS])
def test_each_break_is_reported_by_line_key_and_sentence(
    old: str, new: str, expected: list[tuple[int, str, str]]
) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence.

    What is allowed: the rig file's own definition (README). The lines are those of the text in `plain_rig`.
    """
    assert RIG.count(old) == 1
    with pytest.raises(RigError) as caught:
        read(RIG.replace(old, new), "pit.toml")
    assert [(problem.line, problem.key) for problem in caught.value.problems] == [case[:2] for case in expected]
    for problem, (line, key, words) in zip(caught.value.problems, expected, strict=True):
        assert words in problem.text
        assert str(problem).startswith(f"pit.toml:{line}: {key}")
        assert "\n" not in str(problem)


def test_there_are_more_than_fifty_breaks() -> None:
    """At least fifty different ways to break a rig are tried."""
    assert len({(old, new) for old, new, _ in BREAKS}) >= 50
