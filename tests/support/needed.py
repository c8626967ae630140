"""What a test needs of its machine: without it the test is skipped with a reason; with BAYLEAF_NO_SKIP=1 it fails."""

import os
import shutil
from importlib.util import find_spec
from pathlib import Path

import pytest


def need(what: str | Path) -> None:
    """Skip, or fail where nothing may be skipped, if a program or a file is missing."""
    there = Path(what).exists() if isinstance(what, Path) else shutil.which(what) is not None
    if there:
        return
    if os.environ.get("BAYLEAF_NO_SKIP") == "1":
        pytest.fail(f"{what} is needed and is not here")
    pytest.skip(f"{what} is not installed")


def need_module(name: str) -> None:
    """The same for a module that is not compiled everywhere."""
    if find_spec(name) is None:
        need(f"the compiled module {name}")


def need_machines() -> None:
    """Check what `tests.support.network_namespaces` needs."""
    need("ip")
    need("ss")
    if os.geteuid() != 0:
        need("a user who may make network namespaces")
