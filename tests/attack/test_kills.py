"""Saves that are killed (SIGKILL) leave nothing torn. (Our own promise; no outside source.)"""

import os
from functools import partial

import pytest

from engine import durable_files
from tests.attack.kills import KINDS, killed_saves

pytestmark = pytest.mark.slow

_KILLS = int(os.environ.get("BAYLEAF_KILLS", "25"))


@pytest.mark.parametrize("kind", KINDS)
def test_a_killed_save_leaves_whole_files(kind: str) -> None:
    """Whenever a save is killed, each file is the old or the new one, whole, and the next save is done."""
    assert killed_saves(kind, _KILLS, seed=18) == []


def test_a_torn_recording_would_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of recordings that are written straight to their place, kills leave torn ones of both kinds."""
    monkeypatch.setattr(durable_files, "new", partial(open, mode="xb"))
    torn = "\n".join(killed_saves("recordings", 25, seed=18))
    assert ".jsonl" in torn
    assert ".mid" in torn
