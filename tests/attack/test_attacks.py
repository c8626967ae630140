"""An engine and its panel while they are attacked. (Our own promises; no outside source.)

How late notes are beside an attack is measured by `python -m bench --part attacks`.
"""

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from tests.support.attacked_stage import AttackedStage, Weight, attacked_stage
from tests.support.attacks import ATTACKS, Attack

_PLAYED = 1.0  # seconds
_MORE = 50.0  # MB
_GROWN = 10.0  # MB after which a stage is not attacked again: what one attack has left could hide what the next takes


class Stages:
    """A stage for one attack after the other, while it is sound and as light as it was; SIGTERM ends each."""

    def __init__(self) -> None:
        self._open = ExitStack()
        self._shared: tuple[AttackedStage, Weight] | None = None

    @contextmanager
    def attacked_by(self, attack: Attack) -> Iterator[tuple[AttackedStage, Weight]]:
        """A stage for this attack, and what it weighed when nothing had happened yet."""
        if attack.alone:
            with ExitStack() as own:
                yield _started(own, attack.rig)
            return
        if self._shared is not None and _heavier(self._shared[0].weight(), self._shared[1]) > _GROWN:
            self.close()
        stage, weight = self._shared or _started(self._open, attack.rig)
        self._shared = stage, weight
        try:
            yield stage, weight
        except BaseException:  # a check has failed
            self.close()
            raise

    def close(self) -> None:
        """End the shared stage."""
        self._shared = None
        self._open.close()


def _started(open_: ExitStack, rig: str) -> tuple[AttackedStage, Weight]:
    stage = open_.enter_context(_stage(rig))
    return stage, stage.weight()


@contextmanager
def _stage(rig: str) -> Iterator[AttackedStage]:
    """A stage in a folder with a short path, for sockets."""
    with tempfile.TemporaryDirectory(prefix="bl") as folder, attacked_stage(Path(folder), rig) as stage:
        yield stage
        assert stage.end() == 0


def _heavier(now: Weight, before: Weight) -> float:
    return max(now.engine - before.engine, now.panel - before.panel)


@pytest.fixture(scope="module")
def stages() -> Iterator[Stages]:
    made = Stages()
    yield made
    made.close()


@pytest.mark.slow
@pytest.mark.parametrize("attack", ATTACKS)
def test_an_attack_costs_the_music_nothing(stages: Stages, attack: str) -> None:
    """Every note passes once, engine and panel take less than 50 MB more, edits still work, SIGTERM ends the engine."""
    with stages.attacked_by(ATTACKS[attack]) as (stage, before):
        stage.weight()
        with stage.attacked(attack):
            played = stage.play(_PLAYED)
        heaviest = stage.heaviest()
        assert (played.lost, played.strangers) == (0, [])
        assert _heavier(heaviest, before) < _MORE
        assert stage.status()["own_faults"] == 0
        stage.calm()
        assert stage.ask({"do": "scenes", "what": "rename", "number": 1, "name": "Still here"})["done"]
        assert stage.ask({"do": "scenes", "what": "undo"})["done"]
