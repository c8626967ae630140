"""`bayleaf pairings`: the paired browsers, fresh codes, and the end of one pairing."""

import json
import time
from pathlib import Path

import pytest

from engine.panel.paired_browsers import PairedBrowsers, pairings_file
from engine.panel.pairing import Pairing
from tests.support.bayleaf_command import Bayleaf


@pytest.fixture(autouse=True)
def _own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


def test_pairings_are_listed_with_fresh_codes(bayleaf: Bayleaf) -> None:
    """Each pairing is listed with what it may do; below are three codes, each of which pairs one browser once."""
    panel = Pairing(pairings_file("pit"), lambda role, code: None)
    assert "none" in bayleaf("pairings", "--name", "pit").out
    said = json.loads(bayleaf("pairings", "--name", "pit", "--json").out)
    assert said["pairings"] == []
    assert said["codes"].keys() == {"everything", "show", "look"}
    token, role = panel.pair(said["codes"]["show"], "192.0.2.7")
    assert role == "show"
    found = bayleaf("pairings", "--name", "pit").out
    name = panel.browsers.name_of(token)
    (line,) = [line for line in found.splitlines() if name in line]
    assert "show" in line
    assert "192.0.2.7" in line
    assert "To pair a browser that may see and run the show, once: " in found


def test_one_pairing_is_ended(bayleaf: Bayleaf) -> None:
    """--end ends the pairing of that id and no other; an id that is not there is an error."""
    browsers = PairedBrowsers(pairings_file("pit"), time.time)
    for token in ("one", "two"):
        browsers.add(token, "view", "192.0.2.7")
    said = bayleaf("pairings", "--name", "pit", "--end", browsers.name_of("one"))
    assert (said.status, browsers.role_of("one"), browsers.role_of("two")) == (0, None, "view")
    said = bayleaf("pairings", "--name", "pit", "--end", browsers.name_of("one"))
    assert said.status == 1
    assert "there is no pairing" in said.err


def test_a_folder_that_cannot_be_written_is_reported(
    bayleaf: Bayleaf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the file cannot be written, the command says why and shows no code."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    said = bayleaf("pairings", "--name", "pit")
    assert (said.status, said.out) == (1, "")
    assert "cannot be written" in said.err
