"""Runs the command in this process, and provides a rig file for it."""

from pathlib import Path

import pytest

from engine.cli.app import main
from tests.support.bayleaf_command import Bayleaf, Said
from tests.support.rehearsal_rig import RIG


@pytest.fixture
def bayleaf(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Bayleaf:
    """Run the command in this process; returns status, stdout, stderr."""

    def run(*arguments: str | Path) -> Said:
        monkeypatch.setattr("sys.argv", ["bayleaf", *map(str, arguments)])
        status = 0
        try:
            main()
        except SystemExit as ended:
            status = int(ended.code or 0)
        captured = capsys.readouterr()
        return Said(status, captured.out, captured.err)

    return run


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    """A rig file with names that a page must escape."""
    file = tmp_path / "pit.toml"
    file.write_text(RIG.replace("SETTLE", "30 ms"), encoding="utf-8")
    return file
