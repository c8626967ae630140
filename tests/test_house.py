"""The house rules that tools can check: types, style, and which way imports point."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.paths import ROOT


@pytest.mark.parametrize(
    "command",
    [
        ("mypy", "engine", "filters"),
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("lint-imports",),
    ],
    ids=lambda command: " ".join(command),
)
def test_house_rules(command: tuple[str, ...]) -> None:
    """mypy strict, ruff and import-linter find nothing."""
    tool, *arguments = command
    program = Path(sys.executable).parent / tool
    done = subprocess.run([program, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
