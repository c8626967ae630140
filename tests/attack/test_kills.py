"""Saves that are killed (SIGKILL) leave nothing torn. (Our own promise; no outside source.)"""

import os

import pytest

from tests.attack.kills import KINDS, killed_saves

_KILLS = int(os.environ.get("BAYLEAF_KILLS", "25"))


@pytest.mark.parametrize("kind", KINDS)
def test_a_killed_save_leaves_whole_files(kind: str) -> None:
    """Whenever a save is killed, each file is the old or the new one, whole, and the next save is done."""
    assert killed_saves(kind, _KILLS, seed=18) == []
