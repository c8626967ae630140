"""A foot controller with lights and a display, a FIFO to the engine, agrees with the status whatever is commanded."""

import os
import random
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from tests.support.engine_process import Engine
from tests.support.feet_on_a_fifo import LIT_SCENES, NAMES, Feet, expected, random_request
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
"""


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[tuple[Engine, Feet]]:
    feet = Feet(tmp_path / "FIFO")
    engine = Engine(tmp_path, RIG.replace("FIFO", str(tmp_path / "FIFO")) + LIT_SCENES, "--backend", "memory")
    engine.start()
    yield engine, feet
    engine.end()
    os.close(feet.handle)


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
    chance, names = random.Random(1911), dict(NAMES)
    for _ in range(COUNT):
        pulled = chance.randrange(PULLS) == 0
        if pulled:
            feet.pull()
            until("the missing gear", lambda: state(engine) == "missing")
        do, fields = random_request(chance, names)
        assert engine.request(do, **fields)
        if pulled:
            feet.plug()
        answer = engine.request("status")
        assert answer is not None
        until(f"the gear after {do}", partial(feet.agrees, expected(answer["status"], names)))
    assert feet.again == []
