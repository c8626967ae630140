"""A rig as plain values. (Our own design; no outside source.)"""

import json

from engine.rig.read.load import read
from engine.rig.rig_as_json import sections
from tests.support.plain_rig_2 import RIG_2
from tests.support.whole_outline import outline

TEXT = """
format = 1
[rig]
name = "Lantern Street"
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c", wire = "din" }
brass = { port = "d" }
[instruments.lead]
output = "strings"
channel = 1
programs_from = 0
sounds = { "Warm pad" = { bank = [0, 3], program = 11 }, "Choir" = { program = 3 } }
[[routes]]
name = "kit"
from = "pads"
to = "brass"
[[scenes]]
number = 11
name = "Overture"
at = "00:01:10:00"
routes = [ { from = "keys", to = ["strings", "brass"], through = [
  { filter = "channels", keep = [1], map = { 1 = 3 } },
  { filter = "clock", pass = true },
] } ]
burst = [ { instrument = "lead", sound = "Choir" }, { output = "brass", channel = 10, bank = [1, 0], program = 88 } ]
[[scenes]]
number = 5
name = "Finale"
held = "cut"
[[setlists]]
name = "Friday"
scenes = ["Finale", 11, 5]
"""

#: the keys of a scene that came with format 2, where it says none of them
NEW = {
    **dict.fromkeys(("cue", "like", "text", "tempo")),
    "transpose": 0,
    **{key: list[object]() for key in ("play", "enter", "leave")},
}


def test_everything_that_is_shown() -> None:
    """Names, cable types, sounds, routes with their filters in the file's own keys, and set lists by number."""
    found = outline(read(TEXT, "test"))
    for key in ("ports", "gear", "controls", "tallies", "displays"):
        del found[key]
    assert found == {
        "format": 1,
        "name": "Lantern Street",
        "start": "last",
        "inputs": ["keys", "pads"],
        "outputs": [{"name": "strings", "wire": "din"}, {"name": "brass", "wire": "fast"}],
        "instruments": [
            {
                "name": "lead",
                "output": "strings",
                "channel": 1,
                "members": [],
                "printed": {},
                "spare": [],
                "sounds": ["Warm pad", "Choir"],
                "programs_from": 0,
                "drums": False,
                "keys": {},
                "through": [],
            }
        ],
        "middle_c": "C4",
        "input_chains": {"keys": {"stop": [], "through": []}, "pads": {"stop": [], "through": []}},
        "chains": {},
        "routes": [{"name": "kit", "group": None, "from": ["pads"], "to": ["brass"], "through": []}],
        "scenes": [
            {
                **NEW,
                "number": 11,
                "name": "Overture",
                "at": "00:01:10:00",
                "held": "ring",
                "routes": [
                    {
                        "name": None,
                        "group": None,
                        "from": ["keys"],
                        "to": ["strings", "brass"],
                        "through": [
                            {"filter": "channels", "keep": [1], "map": {"1": 3}},
                            {"filter": "clock", "pass": True},
                        ],
                    }
                ],
                "burst": [
                    {"instrument": "lead", "sound": "Choir"},
                    {"output": "brass", "channel": 10, "bank": [1, 0], "program": 88},
                ],
            },
            {**NEW, "number": 5, "name": "Finale", "at": None, "held": "cut", "routes": [], "burst": []},
        ],
        "songs": [],
        "players": [],
        "setlists": [{"name": "Friday", "scenes": [5, 11, 5], "songs": []}],
        "inherited": {},
    }


def test_songs_and_lists_of_songs_give_their_scenes_by_number() -> None:
    """A list of songs has the scenes of its songs, in their order."""
    song = '[[songs]]\nname = "Market"\ntranspose = 2\nscenes = ["Finale", 11]\n'
    listed = '[[setlists]]\nname = "Saturday"\nsongs = ["Market", "Market"]\n'
    found = sections(read(FORMAT_2 + song + listed, "test"))
    assert found["songs"] == [{"name": "Market", "transpose": 2, "scenes": [5, 11]}]
    assert found["setlists"] == [{"name": "Saturday", "scenes": [5, 11, 5, 11], "songs": ["Market", "Market"]}]


FORMAT_2 = """format = 2
[[scenes]]
number = 11
name = "Overture"
[[scenes]]
number = 5
name = "Finale"
"""


def test_what_the_page_edits() -> None:
    """Ports, instruments, controls, lights and displays in the file's own keys; sounds by bank and program."""
    found = outline(read(TEXT, "test"))
    assert found["ports"]["outputs"]["strings"] == {"port": "c", "wire": "din"}
    assert list(found["gear"]["lead"]) == ["output", "channel", "programs_from", "places"]
    assert len(found["gear"]["lead"]["places"]) == len(found["instruments"][0]["sounds"])
    assert (found["controls"], found["tallies"], found["displays"]) == ([], [], [])


def test_it_can_be_sent() -> None:
    """All of it can be written as JSON and read back."""
    found = outline(read(TEXT, "test"))
    assert json.loads(json.dumps(found)) == found


def test_what_came_with_format_2() -> None:
    """Lines, chains and what scenes send are in the file's own keys; a chain is given by its name."""
    found = outline(read(RIG_2, "test"))
    assert found["middle_c"] == "C3"
    assert found["input_chains"]["keys"]["through"] == ["soft", {"filter": "controllers", "drop": [7]}]
    assert found["chains"]["left hand"] == ["soft", {"filter": "zone", "notes": [0, 59]}]
    assert [(one["drums"], len(one["through"])) for one in found["instruments"]] == [(False, 1), (True, 0)]
    first, second = found["scenes"]
    assert first["play"][1] == {
        "from": ["keys", "pedals"],
        "on": "old-synth",
        "velocity": [20, 127],
        "name": "brass",
        "through": ["left hand"],
    }
    assert first["enter"] == [{"on": "bass-box", "send": ["volume 90", "nrpn 1/8 = 64"]}]
    assert (second["like"], second["cue"], second["play"]) == (11, "14.5", [{"name": "brass", "off": True}])


LINES = """play = [
  { from = "pedals", on = "bass-box", notes = "C3.." },
  { name = "brass", from = "pedals", on = "old-synth" },
]
"""


def test_what_a_scene_inherits() -> None:
    """The lines that it neither replaces nor takes away; a scene that is like no other one is not listed."""
    plain = {"from": ["keys"], "on": "bass-box", "sound": "Upright", "notes": [0, 59], "transpose": -12}
    assert outline(read(RIG_2, "test"))["inherited"] == {"12": {"play": [plain], "routes": []}}
    other = RIG_2.replace('play = [{ name = "brass", off = true }]\n', LINES)
    assert outline(read(other, "test"))["inherited"]["12"]["play"] == [plain]
    whole = RIG_2.replace('play = [{ name = "brass", off = true }]\n', "")
    assert [line.get("name") for line in outline(read(whole, "test"))["inherited"]["12"]["play"]] == [None, "brass"]


def test_what_a_control_sends_is_in_hexadecimal() -> None:
    """Messages that are no text are JSON as well, as the rig file has them."""
    control = '[[controls]]\ninput = "pads"\nwhen = { note = 36 }\ndo = "send"\noutput = "brass"\n'
    found = outline(read(f'{TEXT}{control}messages = ["fc", "f0 7d 01 f7"]', "test"))
    assert json.loads(json.dumps(found))["controls"][0]["messages"] == ["FC", "F0 7D 01 F7"]
