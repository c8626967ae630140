"""The bench's command: its output has the right shape. How fast anything was is not tested. No outside source."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.paths import ROOT


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that a quick run of the shortest parts has written."""
    folder = tmp_path_factory.mktemp("bench")
    command = [sys.executable, "-m", "bench", "--quick", "--part", "growth", "--part", "start", "--out", str(folder)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Routes doubled" in done.stdout
    return folder


def test_results_say_what_was_measured_and_where(folder: Path) -> None:
    """results.json has the machine, both parts with figures, date and length, and a verdict for each target."""
    results = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    assert results["machine"].keys() == {"cores", "system", "python", "libraries"}
    assert results["parts"].keys() == {"growth", "start"}
    for part in results["parts"].values():
        assert part["quick"] is True
        assert part["seconds"] > 0
        assert all(isinstance(figure, float) for figure in part["figures"].values())
        for table in part["tables"]:
            assert all(len(row) == len(table["columns"]) for row in table["rows"])
    assert {each["verdict"] for each in results["targets"]} <= {"pass", "miss", "not measured"}
    told = {each["figure"]: each["verdict"] for each in results["targets"]}
    assert told["64 scenes × 32 routes × 3 filters: start to first routed message"] != "not measured"


def test_the_readme_has_the_results_between_its_marks(folder: Path) -> None:
    """The results are in README.md between the marks, and the text around them is untouched."""
    before = (ROOT / "bench" / "README.md").read_text(encoding="utf-8")
    after = (folder / "README.md").read_text(encoding="utf-8")
    begin, end = "<!-- results: written by python -m bench -->", "<!-- end of results -->"
    assert after.partition(begin)[0] == before.partition(begin)[0]
    assert after.partition(end)[2] == before.partition(end)[2]
    results = after.partition(begin)[2].partition(end)[0]
    assert "## Targets" in results
    assert "**Ports doubled.**" in results
