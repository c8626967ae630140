"""Where the project's folders and the installed command are."""

import sys
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
PRESETS: Final = ROOT / "presets"
BAYLEAF: Final = Path(sys.executable).parent / "bayleaf"


def process_of(module: str) -> list[str]:
    """The command that runs a module of `tests.support` as a process of its own."""
    return [sys.executable, "-m", f"tests.support.{module}"]
