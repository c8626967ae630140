"""What the tests of `bayleaf rehearse` play: the demo, and a rig with names that a page must escape."""

from tests.support.paths import PRESETS

DEMO, SONG = str(PRESETS / "demo.toml"), str(PRESETS / "demo.mid")
RIG = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c", wire = "din" }
"<b>brass & \\"co\\"" = { port = "d" }
[instruments.lead]
output = "strings"
channel = 1
settle = "SETTLE"
sounds = { "<i>Pad" = { bank = [0, 3], program = 12 }, "Other" = { bank = [0, 4], program = 13 } }
[[scenes]]
number = 1
name = "One"
routes = [ { from = ["keys", "pads"], to = "strings" } ]
burst = [ { instrument = "lead", sound = "<i>Pad" } ]
[[scenes]]
number = 2
name = "<script>Two"
routes = [ { from = "keys", to = ["strings", "<b>brass & \\"co\\""] } ]
burst = [ { instrument = "lead", sound = "Other" } ]
[[controls]]
input = "keys"
when = { program = "any" }
do = "scene"
"""
