"""A foot controller with lights and a display, a FIFO to the engine, agrees with the status whatever is commanded."""

import os
import random
from collections.abc import Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from engine.midi.byte_stream import StreamParser
from tests.support.engine_process import Engine
from tests.support.foot_controller import FootController
from tests.support.waiting import until

COUNT = int(os.environ.get("BAYLEAF_FEET", "300"))
PULLS = 50  # commands from one pulled cable to the next, about
RIG = """
format = 2
[inputs]
keys = { port = "keys" }
[outputs]
feet = { device = "FIFO" }
box = { port = "box" }
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
SHOWN = {"Overture": "Overture", "Street at night": "Street a", "Café": "Cafe    ", "Finale": "Finale  ", "": " " * 8}


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


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[tuple[Engine, Feet]]:
    feet = Feet(tmp_path / "FIFO")
    engine = Engine(tmp_path, RIG.replace("FIFO", str(tmp_path / "FIFO")), "--backend", "memory")
    engine.start()
    yield engine, feet
    engine.end()
    os.close(feet.handle)


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


def state(engine: Engine) -> str | None:
    """Whether the engine has the gear's port open."""
    answer = engine.request("status")
    return answer["status"]["outputs"][0]["state"] if answer is not None else None


@pytest.mark.slow
@pytest.mark.timeout(max(300, COUNT))
def test_gear_on_a_cable_agrees_with_the_status(stage: tuple[Engine, Feet]) -> None:
    """After each of 300 random commands, edits and pulled cables it shows what the status says, and it was told nothing
    twice."""
    engine, feet = stage
    chance, names = random.Random(1911), {1: "Overture", 2: "Street at night", 3: "Café"}
    for _ in range(COUNT):
        pulled = chance.randrange(PULLS) == 0
        if pulled:
            feet.pull()
            until("the missing gear", lambda: state(engine) == "missing")
        do = chance.choice(("scene", "scene", "next", "back", "mute", "unmute", "resend", "rename"))
        if do == "rename":
            names[1] = "Finale" if names[1] == "Overture" else "Overture"
            assert engine.request("scenes", what="rename", number=1, name=names[1])
        elif do == "scene":
            assert engine.request("scene", scene=chance.choice((1, 2, 3)))
        else:
            assert engine.request(do, **({"route": "brass"} if do in ("mute", "unmute") else {}))
        if pulled:
            feet.plug()
        answer = engine.request("status")
        assert answer is not None
        until(f"the gear after {do}", partial(feet.agrees, expected(answer["status"], names)))
    assert feet.again == []
