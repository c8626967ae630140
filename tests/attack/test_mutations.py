"""Mutated input of every kind meets a clean answer or a clean error. (A mutator of our own; no outside source.)"""

import os

import pytest

from tests.attack.mutations import KINDS, trial

_COUNT = int(os.environ.get("BAYLEAF_MUTATIONS", "1000"))
_SEED = int(os.environ.get("BAYLEAF_SEED", "18"))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_no_mutation_meets_a_fault(kind: str) -> None:
    """Whatever is mutated, its receiver answers, or raises the error that it promises; the seed is printed."""
    print(f"seed {_SEED}")
    assert not "\n".join(map(str, trial(kind, _COUNT, _SEED)))
