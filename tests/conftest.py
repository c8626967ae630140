"""What applies to every test: which are fast, how hypothesis runs, which sources the processes that a test starts use.

A test is fast, and bears the mark `fast`, unless it is marked `slow` or is in a folder of `_SLOW_FOLDERS`. `pytest -m
fast -n 2` runs all of them in less than two minutes.
"""

import os
import sys
from collections.abc import Iterator
from typing import Final

import pytest
from hypothesis import HealthCheck, settings

from engine import fault_log
from engine.which_build import build_in_words
from tests.support.paths import ROOT

#: servers, several machines, a browser; benches
_SLOW_FOLDERS: Final = (ROOT / "tests" / "real", ROOT / "tests" / "bench")

# chosen in pyproject.toml; on a busy computer an example may take any time
settings.register_profile("bayleaf", deadline=None, suppress_health_check=[HealthCheck.too_slow])

# where it is set, each process that a test starts would compile all sources
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))


def pytest_report_header() -> str:
    """Which build is tested."""
    return f"Bayleaf here is {build_in_words()}"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the fast tests."""
    for item in items:
        in_slow_folder = any(item.path.is_relative_to(folder) for folder in _SLOW_FOLDERS)
        if not in_slow_folder and item.get_closest_marker("slow") is None:
            item.add_marker(pytest.mark.fast)


@pytest.fixture(autouse=True, scope="session")
def patient_fault_log() -> Iterator[None]:
    """A test that reads the log of faults waits for a disk that is busy with something else."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fault_log, "_END_WITHIN", 60.0)
        yield
