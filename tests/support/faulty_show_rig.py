"""The rig of the shows in which things go wrong, in all the versions that its player may save."""

from random import Random

KEYS, PADS, FOOT = range(3)
STRINGS, BRASS, ORGAN = range(3)

INPUTS = ("Stage piano", "Pad box", "Foot controller", "Old foot controller")
OUTPUTS = ("Box 1", "Box 2", "Box 3", "Box 4", "Box 5")

#: pedals latched from switches, as (output, channel, controller): the first in every scene, the second in one
LATCHED = ((ORGAN, 15, 67), (ORGAN, 14, 66))

_RIG = """
format = 1
[rig]
name = "Lantern Street pit band"
[inputs]
keys = {{ port = "Stage piano" }}
pads = {{ port = "Pad*" }}
foot = {{ port = "{foot}" }}
[outputs]
strings = {{ port = "Box 1", wire = "din" }}
brass = {{ port = "{brass}" }}
organ = {{ port = "Box 3", active_sensing = true }}
{extra}
[instruments.string-machine]
output = "strings"
channel = 1
settle = "30 ms"
sounds = {{ "Warm pad" = {{ bank = [0, 3], program = 12 }}, "Thin pad" = {{ bank = [1, 4], program = 13 }} }}
[instruments.second-strings]
output = "strings"
channel = 2
bank = "lsb"
settle = "5 ms"
[instruments.horn]
output = "brass"
channel = 1
bank = "msb"
[instruments.tuba]
output = "brass"
channel = 3
bank = "none"
programs_from = 0
[instruments.positive]
output = "organ"
channel = 1

[[routes]]
from = "foot"
to = "organ"
through = [
  {{ filter = "controllers", keep = [67] }},
  {{ filter = "strip", kinds = ["notes", "pitch_bend", "aftertouch", "program"] }},
  {{ filter = "channels", keep = [16] }},
  {{ filter = "latch", controllers = [67] }},
]

[[scenes]]
number = 1
name = "Overture"
routes = [
  {{ from = "keys", to = "strings", through = [ {only} ] }},
  {{ from = "pads", to = "brass", through = [ {only}, {{ filter = "channels", map = {{ 1 = 3 }} }} ] }},
  {{ from = ["keys", "pads", "foot"], to = "organ", through = [
    {only}, {{ filter = "transpose", semitones = {semitones} }},
  ] }},
]
burst = [
  {{ instrument = "string-machine", sound = "Warm pad" }},
  {{ instrument = "second-strings", bank = [0, {bank}], program = {program} }},
  {{ instrument = "horn", bank = [5, 0], program = 61 }},
  {{ instrument = "tuba", program = 0 }},
  {{ instrument = "positive", bank = [2, 7], program = 20 }},
]
[[scenes]]
number = 2
name = "March"
routes = [
  {{ from = "keys", to = "strings", through = [
    {only}, {{ filter = "zone", notes = [0, 59] }}, {{ filter = "transpose", semitones = 7, outside = "fold" }},
  ] }},
  {{ from = "keys", to = "brass", through = [
    {only}, {{ filter = "zone", notes = [60, 127], velocity = [20, 127] }}, {{ filter = "transpose", semitones = -5 }},
  ] }},
  {{ from = "pads", to = ["strings", "brass"], through = [ {only}, {{ filter = "fragile", semitones = 3 }} ] }},
  {{ from = "foot", to = "organ", through = [
    {{ filter = "channels", keep = [15] }}, {{ filter = "latch", controllers = [66] }},
  ] }},
]
burst = [
  {{ instrument = "string-machine", sound = "Thin pad" }},
  {{ instrument = "second-strings", bank = [0, 9], program = 41 }},
  {{ instrument = "tuba", program = 58 }},
]
[[scenes]]
number = 3
name = "Waltz"
held = "cut"
routes = [
  {{ from = ["keys", "foot"], to = "brass", through = [
    {only}, {{ filter = "channels", map = {{ 1 = 4, 2 = 4, 3 = 4 }} }}, {{ filter = "velocity", range = [40, 100] }},
  ] }},
  {{ from = "pads", to = "organ", through = [ {only}, {{ filter = "notes", map = {{ 36 = 60, 38 = 62 }} }} ] }},
]
burst = [
  {{ instrument = "horn", bank = [6, 0], program = 62 }},
  {{ instrument = "positive", bank = [3, 8], program = {program} }},
]
[[scenes]]
number = 4
name = "Storm"
routes = [
  {{ from = "keys", to = ["strings", "brass"], through = [
    {only}, {{ filter = "thin", milliseconds = 20 }}, {{ filter = "channels", map = {{ 1 = 2, 2 = 3 }} }},
  ] }},
  {{ from = "pads", to = "strings", through = [ {only}, {{ filter = "fragile", semitones = -4 }} ] }},
  {{ from = "foot", to = ["brass", "organ"], through = [ {only}, {{ filter = "transpose", semitones = 12 }} ] }},
]
burst = [
  {{ instrument = "string-machine", bank = [9, 9], program = 99 }},
  {{ instrument = "second-strings", bank = [0, 1], program = 1 }},
  {{ instrument = "horn", bank = [7, 0], program = 63 }},
  {{ output = "organ", channel = 2, bank = [1, 0], program = 88 }},
]
[[scenes]]
number = 5
name = "Finale"
routes = [ {{ from = ["keys", "pads", "foot"], to = ["strings", "brass", "organ"{more}], through = [ {only} ] }} ]
burst = [
  {{ instrument = "string-machine", sound = "Warm pad" }},
  {{ instrument = "horn", bank = [5, 0], program = 61 }},
  {{ instrument = "positive", bank = [2, 7], program = 21 }},
]

[[controls]]
input = "foot"
when = {{ program = "any" }}
do = "scene"
guard = "1 ms"
"""

# only bursts select sounds; channels 15 and 16 belong to the latches
_ONLY_MUSIC = """{ filter = "channels", drop = [15, 16] },
    { filter = "strip", kinds = ["program", "controller 0", "controller 32"] }"""


def rig_text(foot: str, brass: str, extra: bool, semitones: int, bank: int, program: int) -> str:
    """The rig file with these things in it; `extra`: whether it has one more output."""
    return _RIG.format(
        foot=foot,
        brass=brass,
        extra='extra = { port = "Box 5", wire = "din" }' if extra else "",
        more=', "extra"' if extra else "",
        semitones=semitones,
        bank=bank,
        program=program,
        only=_ONLY_MUSIC,
    )


FIRST = rig_text(INPUTS[2], OUTPUTS[1], False, -12, 2, 50)


def edited(rng: Random) -> str:
    """The rig file after an edit: other ports, an output more or less, other sounds."""
    return rig_text(
        rng.choice(INPUTS[2:]),
        rng.choice((OUTPUTS[1], OUTPUTS[3])),
        rng.random() < 0.5,
        rng.randint(-12, 12),
        rng.randint(0, 127),
        rng.randint(1, 128),
    )
