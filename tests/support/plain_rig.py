"""One valid rig file that the tests break in one place at a time. Its first line is line 1."""

RIG = """\
format = 1

[rig]
name  = "Pit"
start = "Finale"

[inputs]
keys   = { port = "Stage piano*" }
pedals = { port = "Foot controller*" }
serial = { device = "/dev/serial0" }

[outputs]
strings = { port = "Box*1", wire = "din" }
drums   = { port = "Box*2" }

[instruments.string-machine]
output  = "strings"
channel = 5
bank    = "msb lsb"
settle  = "30 ms"
sounds  = { "Warm pad" = { bank = [0, 3], program = 12 } }

[instruments.old-synth]
output  = "drums"
channel = 2
bank    = "none"
programs_from = 0
sounds  = { "Bass" = { program = 32 } }

[[routes]]
name = "pads"
from = "serial"
to   = "drums"

[[scenes]]
number = 11
name   = "Overture"
routes = [
  { from = "keys", to = ["strings", "drums"], through = [
    { filter = "channels", keep = [1] },
    { filter = "transpose", semitones = -12 },
  ] },
  { name = "low", from = ["keys", "pedals"], to = "drums" },
]
burst = [
  { instrument = "string-machine", sound = "Warm pad" },
  { output = "drums", channel = 10, bank = [1, 0], program = 88 },
]

[[scenes]]
number = 12
name   = "Finale"

[[setlists]]
name   = "Friday"
scenes = [11, "Finale"]

[[controls]]
input = "pedals"
when  = { program = "any" }
do    = "scene"
guard = "250 ms"

[[controls]]
input = "pedals"
when  = { controller = 64, at_least = 64 }
do    = "next"
"""
