"""An engine and its panel while they are attacked. (Our own promises; no outside source.)

How late notes are beside an attack is measured by `python -m bench --part attacks`.
"""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.attacked_stage import attacked_stage
from tests.support.attacks import ATTACKS

_PLAYED = 1.0  # seconds
_MORE = 50.0  # MB


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder with a short path, for sockets."""
    made = Path(tempfile.mkdtemp(prefix="bl"))
    yield made
    shutil.rmtree(made)


@pytest.mark.slow
@pytest.mark.parametrize("attack", ATTACKS)
def test_an_attack_costs_the_music_nothing(folder: Path, attack: str) -> None:
    """Every note passes once, engine and panel take less than 50 MB more, edits still work, SIGTERM ends the engine."""
    with attacked_stage(folder, ATTACKS[attack].rig) as stage:
        before = stage.weight()
        with stage.attacked(attack):
            played = stage.play(_PLAYED)
        heaviest = stage.heaviest()
        assert (played.lost, played.strangers) == (0, 0)
        assert heaviest.engine - before.engine < _MORE
        assert heaviest.panel - before.panel < _MORE
        assert stage.status()["own_faults"] == 0
        stage.calm()
        assert stage.ask({"do": "scenes", "what": "rename", "number": 1, "name": "Still here"})["done"]
        assert stage.end() == 0
