"""Fixtures that several tests of the running show use."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.faulty_show import add_plug_in, forget_registry


@pytest.fixture
def runtime_dir(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The test's own folder for sockets; its path is short, since a socket's path may have 107 bytes."""
    folder = Path(tempfile.mkdtemp(prefix="bl"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def plug_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The plug-in `fragile`, installed for one test."""
    add_plug_in(monkeypatch)
    yield
    monkeypatch.undo()
    forget_registry()
