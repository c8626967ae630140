"""A song is rehearsed for a page, in a child process of the panel. (Our own design; the demo rig and its song.)"""

import base64
from typing import Any

import pytest
import trio

from engine.panel import rehearsals
from engine.panel.paired_browsers import Role
from engine.panel.rehearsals import Rehearsals
from tests.support.paths import PRESETS

RIG = str(PRESETS / "demo.toml")
SONG = base64.b64encode((PRESETS / "demo.mid").read_bytes()).decode()
ASKED = {"do": "rehearse", "name": "<b>Market.mid", "song": SONG, "input": "keys"}


async def asked(more: dict[str, Any], rig: tuple[str, bool] | None = (RIG, True), role: Role = "operate") -> Any:
    return (await Rehearsals(lambda: rig).answer({**ASKED, **more}, role)).plain()


@pytest.mark.slow
async def test_a_report_comes_back() -> None:
    """What passed in words, what to fix, and the report as a page, in which the song's name is only text."""
    answer = await asked({"scene": 12})
    assert answer["done"], answer["text"]
    assert answer["text"].startswith("<b>Market.mid through Lantern Street pit band: 13 s, 212 messages in, ")
    assert answer["page"].startswith("<!doctype html>")
    assert "<b>Market" not in answer["page"]


@pytest.mark.slow
async def test_what_cannot_be_rehearsed_is_said() -> None:
    """A file that is no song, an input or a scene that the rig has not: each in a sentence, without our own folders."""
    wrong = {"song": base64.b64encode(b"MThd").decode()}, {"song": "no base 64!"}, {"input": "kazoo"}, {"scene": 99}
    for more in wrong:
        answer = await asked(more)
        assert answer["code"] == "not-possible", more
        assert "song.mid" not in answer["text"], more
    assert "Market.mid" in (await asked(wrong[0]))["text"]


async def test_only_what_is_saved_is_rehearsed_and_only_for_who_may() -> None:
    """Unsaved edits, a rig without a file, other browsers and other requests are refused."""
    assert "save" in (await asked({}, (RIG, False)))["text"]
    assert "no file yet" in (await asked({}, None))["text"]
    assert (await asked({}, role="show"))["code"] == "not-allowed"
    assert (await asked({"file": "/etc/passwd"}))["code"] == "bad-request"


async def test_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another one is refused meanwhile, and possible afterwards; a child that takes too long is given up."""
    monkeypatch.setattr(rehearsals, "_COMMAND", ["sleep", "60"])
    monkeypatch.setattr(rehearsals, "_PATIENCE", 0.3)
    made, answers = Rehearsals(lambda: (RIG, True)), []

    async def ask() -> None:
        answers.append(str((await made.answer(ASKED, "operate")).code))

    async with trio.open_nursery() as nursery:
        nursery.start_soon(ask)
        nursery.start_soon(ask)
    assert sorted(answers) == ["busy", "not-possible"]
    await ask()
    assert answers[-1] == "not-possible"
