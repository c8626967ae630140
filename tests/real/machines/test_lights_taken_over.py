"""A foot controller on a cable to a machine that lends it: whichever engine leads, it shows what the status says.

Real processes, all on this computer. BAYLEAF_FEET in the environment says how many commands there are, 60 by default.
"""

import os
import random
import re
from collections import Counter
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.support.feet_on_a_fifo import LIT_SCENES, NAMES, Feet, expected, random_request
from tests.support.three_machines import ENGINES, PATIENCE, ThreeMachines
from tests.support.waiting import until

COUNT = int(os.environ.get("BAYLEAF_FEET", "60"))
RARE = 20  # commands from one pulled cable, hand-over or death to the next
RIG = """
format = 2
[rig]
name = "Desks and lights"
[network]
machine = "desk"
main = "desk"
standby = "spare"
[network.machines]
desk = { listen = "127.0.0.1:27467" }
spare = { listen = "127.0.0.1:27468" }
left = { listen = "127.0.0.1:27469" }
[inputs]
keys = { port = "Keys", machine = "left" }
[outputs]
feet = { device = "FIFO", machine = "left" }
box = { port = "Box", machine = "left" }
"""


class Stage:
    """The machines and the gear. `leader`: the engine in charge."""

    def __init__(self, folder: Path) -> None:
        self.feet = Feet(folder / "FIFO")
        self.machines = ThreeMachines(None, folder, RIG.replace("FIFO", str(folder / "FIFO")) + LIT_SCENES)
        self.leader = ""

    def begin(self) -> None:
        """All three play."""
        for name in ("left", *ENGINES):
            self.machines.start(name)
        self.leader = until("an engine in charge", self.machines.leader, PATIENCE)

    def ask(self, do: str, **fields: object) -> dict[str, Any]:
        """The answer of the engine in charge; on a busy computer it may have to be asked again."""
        return until("an answer", lambda: self.machines.request(self.leader, do, **fields), PATIENCE)

    def feet_are(self, state: str) -> bool:
        """Whether the engine in charge says this of the gear's port."""
        return bool(self.ask("status")["status"]["outputs"][0]["state"] == state)

    def pull(self) -> None:
        """The gear's cable is pulled, and plugged in again."""
        self.feet.pull()
        until("the missing gear", lambda: not self.feet_are("open"))
        self.feet.plug()
        until("the gear", lambda: self.feet_are("open"))

    def hand_over(self) -> None:
        """The other engine is asked to lead."""
        before = self.said()
        until("a hand-over", lambda: self.tellings(before) > 0 or self.ask("handover")["done"], PATIENCE)
        until("the other engine", lambda: self.tellings(before) > 0, PATIENCE)

    def die(self) -> None:
        """The engine in charge is killed, and started again once the other leads."""
        victim = self.leader
        self.machines.kill(victim)
        (self.leader,) = set(ENGINES) - {victim}
        until("the other engine", self._leads, PATIENCE)
        self.machines.start(victim)

    def strike(self, chance: random.Random) -> None:
        """One of these. The gear forgets, so everything is sent to it again."""
        self.leader = until("an engine in charge", self.machines.leader, PATIENCE)
        before, shown = self.said(), dict(self.feet.things)
        self.feet.things.clear()
        chance.choice((self.pull, self.hand_over, self.die))()
        self.leader = until("an engine in charge", self.machines.leader, PATIENCE)
        if not self.tellings(before):  # on a busy computer another engine can have taken over just before its death
            self.feet.things.update(shown)

    def said(self) -> Counter[tuple[str, str]]:
        """How often each engine has said something after which the one in charge tells the gear everything."""
        texts = {name: self.machines.said(name) for name in ENGINES}
        words = {name: (f"network: {name} is in charge", "feet: is open", "woke") for name in ENGINES}
        return Counter({(name, word): times(word, text) for name, text in texts.items() for word in words[name]})

    def tellings(self, before: Counter[tuple[str, str]]) -> int:
        """How often the gear has been told everything since then; both engines say that its port is open."""
        since = self.said() - before
        opened = {name: since.pop((name, "feet: is open"), 0) for name in ENGINES}
        return since.total() + max(opened.values())

    def sent_for_a_reason(self, before: Counter[tuple[str, str]], struck: bool) -> bool:
        """Whether nothing was sent again without a reason; on a busy computer an engine falls silent by itself, which
        is printed up to a second later."""
        again = max(Counter(self.feet.again).values(), default=0)
        return again <= max(0, self.tellings(before) - struck)

    def _leads(self) -> bool:
        network = self.machines.network(self.leader)
        return network is not None and network["in_charge"] == self.leader


def times(word: str, text: str) -> int:
    """How often a line with this word was said, at most: of the like lines of one second only the first is printed at
    once, and later their number."""
    lines = [line for line in text.splitlines() if word in line]
    return len(lines) + sum(int(more[1]) for line in lines if (more := re.search(r"\((\d+) times? more in", line)))


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    made = Stage(tmp_path)
    try:
        made.begin()
        yield made
    finally:
        made.machines.close()
        os.close(made.feet.handle)


@pytest.mark.timeout(max(300, COUNT))
def test_gear_agrees_with_the_status_whichever_engine_leads(stage: Stage) -> None:
    """After each random command, edit, pulled cable, hand-over and death of the engine in charge it shows what the
    status says, and it was told nothing twice."""
    feet, chance, names = stage.feet, random.Random(1912), dict(NAMES)

    def agrees() -> bool:
        return feet.agrees(expected(stage.ask("status")["status"], names))

    for number in range(COUNT):
        before = stage.said()
        struck = number % RARE == RARE - 1
        if struck:
            stage.strike(chance)
        do, fields = random_request(chance, names)
        stage.ask(do, **fields)
        until(f"the gear after {do}", agrees)
        until("a reason for what was sent again", partial(stage.sent_for_a_reason, before, struck))
        feet.again.clear()
