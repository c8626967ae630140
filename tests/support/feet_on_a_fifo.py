"""A foot controller at a FIFO, the scenes and lights of a rig for it, and what it should show by a status."""

import os
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any, Final

from engine.midi.byte_stream import StreamParser
from tests.support.foot_controller import FootController

#: to be put behind the inputs and outputs of a rig: `keys`, `feet` and `box`
LIT_SCENES: Final = """
[instruments.brass-module]
output = "box"
channel = 3
[instruments.bass-box]
output = "box"
channel = 4
[[scenes]]
number = 1
name = "Overture"
play = [{ from = "keys", on = "bass-box" }]
[[scenes]]
number = 2
name = "Street at night"
play = [{ from = "keys", on = "brass-module", name = "brass" }]
[[scenes]]
number = 3
name = "Café"
like = 2
[[tallies]]
to = "feet"
when = { route = "brass" }
on = "B0 14 7F"
off = "B0 14 00"
[[tallies]]
to = "feet"
when = { scene = 3 }
on = "B0 15 7F"
off = "B0 15 00"
[[displays]]
to = "feet"
show = "F0 7D 01 {scene.name:8}{next.name:8} F7"
"""
NAMES: Final = {1: "Overture", 2: "Street at night", 3: "Café"}  # of these scenes; the first may become "Finale"
SHOWN: Final = {
    "Overture": "Overture",
    "Street at night": "Street a",
    "Café": "Cafe    ",
    "Finale": "Finale  ",
    "": " " * 8,
}
_ASKED: Final = ("scene", "scene", "next", "back", "mute", "unmute", "resend", "rename")


def random_request(chance: Random, names: dict[int, str]) -> tuple[str, dict[str, Any]]:
    """A word for the engine's socket and its fields: a command, or an edit that gives the first of `names` another."""
    do = chance.choice(_ASKED)
    if do == "rename":
        names[1] = "Finale" if names[1] == "Overture" else "Overture"
        return "scenes", {"what": "rename", "number": 1, "name": names[1]}
    return do, {"scene": chance.choice((1, 2, 3))} if do == "scene" else {"route": "brass"} if "mute" in do else {}


class Feet(FootController):
    """The gear at the other end of the FIFO."""

    def __init__(self, file: Path) -> None:
        super().__init__()
        self._file = file
        self.plug()

    def plug(self) -> None:
        """It comes to the FIFO, and remembers nothing."""
        os.mkfifo(self._file)
        self.handle = os.open(self._file, os.O_RDWR | os.O_NONBLOCK)
        self._stream = StreamParser()
        self.things.clear()

    def pull(self) -> None:
        """It is gone, and its FIFO with it."""
        self._file.unlink()
        os.close(self.handle)

    def agrees(self, wanted: dict[object, bytes]) -> bool:
        """Whether it shows this by now."""
        with suppress(BlockingIOError):
            self.take(self._stream.feed(os.read(self.handle, 65_536)))
        return self.things == wanted


def expected(status: dict[str, Any], names: dict[int, str]) -> dict[object, bytes]:
    """What the gear should show, by what the status says."""
    number, place, order = status["scene"]["number"], status["setlist"]["place"], status["setlist"]["scenes"]
    coming = names[order[place]] if place < len(order) else ""
    lit = number in (2, 3) and "brass" not in status["muted_routes"]
    text = SHOWN[status["scene"]["name"]] + SHOWN[coming]
    return {
        b"\xb0\x14": bytes((0xB0, 0x14, 0x7F * lit)),
        b"\xb0\x15": bytes((0xB0, 0x15, 0x7F * (number == 3))),
        b"\xf0\x7d\x01": b"\xf0\x7d\x01" + text.encode() + b"\xf7",
    }
