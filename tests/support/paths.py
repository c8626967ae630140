"""Where the project's folders and the installed command are."""

import json
import sys
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[2]
PRESETS: Final = ROOT / "presets"
BAYLEAF: Final = Path(sys.executable).parent / "bayleaf"


def reference(name: str) -> Any:
    """The values of `tests/reference/NAME.json`, which come from outside and name their source."""
    return json.loads((ROOT / "tests" / "reference" / f"{name}.json").read_text(encoding="utf-8"))


def process_of(module: str) -> list[str]:
    """The command that runs a module of `tests.support` as a process of its own."""
    return [sys.executable, "-m", f"tests.support.{module}"]
