"""`bayleaf` alone: an empty rig, and the page in which it is made."""

import json
import os
import re
import signal
import subprocess
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from engine.live.socket import client
from engine.rig.starter_rig import EMPTY
from tests.support.paths import BAYLEAF
from tests.support.waiting import until

pytestmark = pytest.mark.slow


def _start(folder: Path, *command: str) -> tuple[subprocess.Popen[str], str]:
    """The process and its first address; there is no screen."""
    environment = {
        **{key: value for key, value in os.environ.items() if "DISPLAY" not in key},
        "XDG_RUNTIME_DIR": str(folder),
        "XDG_STATE_HOME": str(folder / "state"),
        "HOME": str(folder),
    }
    process = subprocess.Popen(
        [str(BAYLEAF), *command], env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert process.stdout is not None
    found = re.search(r"http://127\.0\.0\.1:\d+/", process.stdout.readline())
    assert found
    return process, found[0]


def _end(process: subprocess.Popen[str]) -> None:
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
    assert process.stdout is not None
    process.stdout.close()


def test_it_starts_with_an_empty_rig_and_keeps_what_has_no_file_yet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The address is printed and answers; edits that were never saved under a name are there at the next start."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    options = ("run", "--backend", "memory", "--panel-port", "0")
    process, address = _start(tmp_path, *options)
    draft = tmp_path / "state" / "bayleaf" / "bayleaf.draft.toml"
    try:
        with urllib.request.urlopen(address) as page:
            assert b"Bayleaf" in page.read()
        assert draft.read_text(encoding="utf-8") == EMPTY
        values: list[dict[str, Any]] = [{"path": ["rig", "name"], "value": "Pit"}]
        answer = client.ask("bayleaf", {"do": "edit", "what": "values", "values": values})
        assert answer["done"], json.dumps(answer)
    finally:
        _end(process)
    assert 'name = "Pit"' in draft.read_text(encoding="utf-8")
    process, _ = _start(tmp_path, *options)
    try:
        assert until("the rig", lambda: client.ask("bayleaf", {"do": "status"}))["status"]["rig"] == "Pit"
        named = tmp_path / "pit.toml"
        client.ask("bayleaf", {"do": "save", "what": "as", "file": str(named)})
        assert (named.exists(), draft.exists()) == (True, False)
    finally:
        _end(process)
