"""`bayleaf demo`: the whole router on ports in memory."""

import json

import pytest

from tests.support.bayleaf_command import Bayleaf


@pytest.mark.slow
def test_the_demo_in_json(bayleaf: Bayleaf) -> None:
    """With --json the demo, like every command that prints a table, prints JSON and nothing else."""
    said = bayleaf("demo", "--json")
    found = json.loads(said.out)
    assert [change["text"].split(",")[0] for change in found["changes"]][-1] == "scene 14 Finale"
    assert {one["left_sounding"] for one in found["instruments"]} == {0}
    assert found["carried"]
    assert all(one["down"] < one["change"] < one["up"] for one in found["carried"])


@pytest.mark.slow
def test_the_demo_shows_the_job(bayleaf: Bayleaf) -> None:
    """`demo` plays three scene changes by foot switch and shows banks, programs and notes held across a change."""
    said = bayleaf("demo")
    assert said.status == 0
    for scene in ("scene 11 Overture", "scene 12 Street at night", "scene 13 Chase", "scene 14 Finale"):
        assert said.out.count(scene) == 1, "the worn switch must count once"
    assert "Warm pad" in said.out
    assert "held across" in said.out
    assert "LEFT SOUNDING" not in said.out
