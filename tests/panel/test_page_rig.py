"""The page's rig: with each difference that the engine sends, it becomes the rig as the engine has it.

Sources: the engine's outline of whole rigs; our own protocol.
"""

import json
import random
import subprocess
from pathlib import Path
from typing import Any

from engine.live.socket.rig_outline import RigOutline
from engine.rig.models.rig import Rig, rig_model
from tests.support.needed import need
from tests.support.whole_outline import outline

MODULE = Path(__file__).parents[2] / "engine" / "panel" / "page" / "rig-changes.js"
SCRIPT = """
    const [module, steps] = JSON.parse(require("fs").readFileSync(0, "utf8"));
    import("data:text/javascript," + encodeURIComponent(module)).then(({ renewed }) =>
      console.log(JSON.stringify(steps.map(([rig, changes, revision]) => renewed(rig, changes, revision)))));
"""


def random_rig(rng: random.Random) -> Rig:
    """Up to six scenes in any order, and an instrument or not."""
    numbers = rng.sample(range(1, 7), rng.randint(1, 6))
    gear = {"lead": {"output": "strings", "channel": 1}} if rng.random() < 0.5 else {}
    scenes = [
        {"number": number, "name": f"{rng.choice('AB')} {number}", "routes": [{"from": "keys", "to": "strings"}]}
        for number in numbers
    ]
    facts = {"format": 1, "inputs": {"keys": {"port": "a"}}, "outputs": {"strings": {"port": "b"}}}
    return rig_model().model_validate({**facts, "instruments": gear, "scenes": scenes})


def test_the_page_follows_every_difference() -> None:
    """After a hundred edits, seen one by one or four at a time, the page's rig is the engine's."""
    need("node")
    rng, pieces = random.Random(18), RigOutline()
    steps: list[list[Any]] = []
    expected: list[dict[str, Any]] = []
    known: list[dict[str, Any]] = []
    for revision in range(100):
        rig = random_rig(rng)
        for since in range(max(0, revision - 4), revision + 1):
            base, parts = pieces.parts(rig, revision, since)
            assert base == since
            if since < revision:
                changes = {name: json.loads(text) for name, text in parts.items()}
                steps.append([known[since], changes, revision])
                expected.append({**outline(rig), "revision": revision})
        known.append({**outline(rig), "revision": revision})
    asked = json.dumps([MODULE.read_text(encoding="utf-8"), steps])
    done = subprocess.run(["node", "-e", SCRIPT], input=asked, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == expected
