"""One valid rig file of format 2 that the tests break in one place at a time. Its first line is line 1."""

RIG_2 = """\
format = 2

[rig]
name     = "Pit"
middle_c = "C3"

[inputs.keys]
port    = "Stage piano*"
stop    = ["program", "bank"]
through = ["soft", { filter = "controllers", drop = [7] }]

[inputs.pedals]
port = "Foot controller*"

[outputs]
bass   = { port = "Box*1", wire = "din" }
looper = { port = "Looper*" }

[instruments.bass-box]
output  = "bass"
channel = 2
through = [{ filter = "velocity", fixed = 90 }]
sounds  = { "Upright" = { program = 33 }, "Fretless" = { send = ["F0 7D 01 F7"], settle = "80 ms" } }

[instruments.old-synth]
output  = "bass"
channel = 3
drums   = true
programs_from = 0
setup   = ["program 0"]

[chains]
"soft" = [{ filter = "velocity", curve = -20 }]
"left hand" = ["soft", { filter = "zone", notes = "..B2" }]

[[scenes]]
number = 11
name   = "Overture"
cue    = "14"
text   = "watch the drummer"
tempo  = 126
transpose = -2
play = [
  { from = "keys", on = "bass-box", sound = "Upright", notes = "..B2", transpose = -12 },
  { from = ["keys", "pedals"], on = "old-synth", velocity = "20..127", name = "brass", through = ["left hand"] },
]
enter = [{ on = "bass-box", send = ["volume 90", "nrpn 1/8 = 64"] }]
leave = [{ to = "looper", send = ["stop", "go 14.5"] }]

[[scenes]]
number = 12
name   = "Finale"
cue    = "14.5"
like   = 11
play = [{ name = "brass", off = true }]
burst = [{ instrument = "old-synth", program = 0 }]
"""
