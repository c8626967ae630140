"""Edits of a playing rig's parts, its first file, and what is heard at its unused ports. (Our own protocol.)"""

from pathlib import Path
from typing import Any

import pytest

from engine.core.commands import RecallScene
from engine.live.edit import listed_sounds
from engine.live.edit.rig_session import Elsewhere
from engine.live.process.worker_threads import to_its_end
from engine.ports.memory import MemorySystem
from engine.rig.starter_rig import EMPTY
from tests.support.engine_socket import ask, serving
from tests.support.small_show import RIG, Bench
from tests.support.working_elsewhere import worker_process

pytestmark = pytest.mark.usefixtures("runtime_dir")

TEXT = RIG.replace("format = 1", "format = 2")


def _bench(text: str = TEXT) -> Bench:
    bench = Bench(text)
    bench.show.apply(RecallScene(1), "shell")
    return bench


async def _edited(
    tmp_path: Path, *requests: dict[str, Any], text: str = TEXT, elsewhere: Elsewhere = to_its_end
) -> tuple[list[dict[str, Any]], Bench]:
    file = tmp_path / "pit.toml"
    file.write_text(text, encoding="utf-8")
    bench = _bench(text)
    async with serving(bench, file, text, elsewhere=elsewhere):
        return [await ask(each) for each in requests], bench


def _values(*values: tuple[list[Any], Any], **more: Any) -> dict[str, Any]:
    return {
        "do": "edit",
        "what": "values",
        "values": [{"path": path, "value": value} for path, value in values],
        **more,
    }


async def test_values_by_their_place(tmp_path: Path) -> None:
    """edit values: put in one step, with the asker's words for the answer and for undo."""
    made = _values((["inputs", "pads"], {"port": "Pads*"}), (["rig", "name"], "Band"), words="pads added")
    (added, undone), bench = await _edited(tmp_path, made, {"do": "edit", "what": "undo"})
    assert added["text"] == "pads added; not saved yet (bayleaf save)"
    assert undone["text"].startswith("undone: pads added")
    assert list(bench.show.engine.rig.inputs) == ["keys", "pedals"]


@pytest.mark.parametrize(
    ("path", "value", "reason"),
    [
        (["osc"], {"port": 9000, "allow": ["0.0.0.0"]}, "osc can only be edited in the file"),
        (["network", "machine"], "b", "network can only be edited in the file"),
        (["inputs", "pads"], {"device": "/dev/x"}, "a device by its path can only be given in the file"),
        (["instruments", "string-machine", "sounds_from"], "/etc/passwd", "one of the built-in lists"),
    ],
)
async def test_what_only_the_file_says(tmp_path: Path, path: list[Any], value: Any, reason: str) -> None:
    """Nobody opens files or networks of this computer over the socket."""
    (answer,), _ = await _edited(tmp_path, _values((path, value)))
    assert (answer["done"], answer["code"]) == (False, "not-allowed")
    assert reason in answer["text"]


async def test_an_edit_of_an_older_rig_is_refused(tmp_path: Path) -> None:
    """edit values with a revision that is not the present one changes nothing."""
    (answer,), bench = await _edited(tmp_path, _values((["rig", "name"], "Band"), revision=99))
    assert (answer["code"], bench.show.engine.rig.rig.name) == ("outdated", "Lantern Street pit band")


async def test_parts_are_renamed_removed_and_moved(tmp_path: Path) -> None:
    """edit rename, edit remove, edit move: the answers say what happened."""
    asked = {"do": "edit", "what": "rename", "section": "outputs", "name": "brass", "new": "horns"}
    gone = {"do": "edit", "what": "remove", "section": "outputs", "name": "horns"}
    lists = _values((["setlists"], [{"name": "A", "scenes": [1]}, {"name": "B", "scenes": [2]}]))
    lists["values"] = [
        {"path": ["setlists", 0], "value": {"name": "A", "scenes": [1]}},
        {"path": ["setlists", 1], "value": {"name": "B", "scenes": [2]}},
    ]
    moved = {"do": "edit", "what": "move", "section": "setlists", "place": 1, "new": 0}
    wrong = {"do": "edit", "what": "move", "section": "scenes", "place": 1, "new": 0}
    old = {**moved, "revision": 99}
    answers, bench = await _edited(tmp_path, asked, gone, lists, moved, wrong, old)
    assert [each["text"].partition(";")[0] for each in answers[:2]] == [
        "output brass is now called horns",
        "output horns removed, and what used it in 2 places",
    ]
    assert [each.name for each in bench.show.engine.rig.setlists] == ["B", "A"]
    assert list(bench.show.engine.rig.outputs) == ["strings"]
    assert answers[3]["text"].startswith("B is now set list 1")
    assert not answers[4]["done"]
    assert answers[5]["code"] == "outdated"


async def test_a_scene_is_added(tmp_path: Path) -> None:
    """scenes add: with the next number, or the one that was asked for; a number that is taken is refused."""
    line = {"from": "keys", "on": "string-machine"}
    answers, bench = await _edited(
        tmp_path,
        {"do": "scenes", "what": "add"},
        {"do": "scenes", "what": "add", "number": 12, "name": "Waltz", "play": [line]},
        {"do": "scenes", "what": "add", "number": 13, "like": 12},
        {"do": "scenes", "what": "add", "number": 12},
    )
    rig = bench.show.engine.rig
    assert [scene.number for scene in rig.scenes] == [1, 2, 3, 4, 12, 13]
    assert [each["done"] for each in answers] == [True, True, True, False]
    assert rig.scenes[4].play[0].on == "string-machine"
    assert rig.scenes[5].like == 12


async def test_sounds_come_from_a_list(tmp_path: Path) -> None:
    """edit sounds: CSV as a spreadsheet writes it; a mistake is named by its line."""
    asked = {"do": "edit", "what": "sounds", "instrument": "string-machine", "csv": "program,name\n1,Warm\n2,Cold\n"}
    wrong = {**asked, "csv": "program,name\n200,Warm\n"}
    (put, refused), bench = await _edited(tmp_path, asked, wrong)
    assert put["done"], put["text"]
    assert list(bench.show.engine.rig.instruments["string-machine"].sounds) == ["Warm", "Cold"]
    assert "line:2" in refused["text"]


async def test_a_list_of_sounds_is_read_by_the_worker_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody else wrote it, and it may be long: the engine's process never parses CSV."""

    def read(*_: object) -> None:
        raise AssertionError("a list was read in the engine")

    monkeypatch.setattr(listed_sounds, "from_csv", read)
    asked = {"do": "edit", "what": "sounds", "instrument": "string-machine", "csv": "program,name\n1,Warm\n2,Cold\n"}
    with worker_process() as elsewhere:
        (put,), bench = await _edited(tmp_path, asked, elsewhere=elsewhere)
    assert put["text"].startswith("string-machine: 2 sounds from the list"), put["text"]
    assert list(bench.show.engine.rig.instruments["string-machine"].sounds) == ["Warm", "Cold"]


async def test_what_a_switch_asks_for(tmp_path: Path) -> None:
    """learned: the condition and the guard that `bayleaf learn` would propose."""
    sent = ((1, "B0 50 7F"), (2, "B0 50 00"), (3, "B0 50 7F"))
    presses = [{"at": at * 1_000_000_000, "message": message} for at, message in sent]
    asked = {"do": "learned", "input": "pedals", "heard": presses}
    (found, nothing), _ = await _edited(tmp_path, asked, {**asked, "heard": []})
    assert found["control"]["when"]["controller"] == 80
    assert nothing["control"] is None


async def test_the_first_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """save as: the rig has this file from then on; a file of somebody else is left alone."""
    monkeypatch.setenv("HOME", str(tmp_path))
    taken = tmp_path / "taken.toml"
    taken.write_text("mine", encoding="utf-8")
    answers, bench = await _edited(
        tmp_path,
        _values((["rig", "name"], "Band")),
        {"do": "save", "what": "as", "file": "taken.toml"},
        {"do": "save", "what": "as", "file": "band"},
        {"do": "save", "what": "as", "file": "band.toml"},
        {"do": "rig"},
        _values((["rig", "name"], "Big band")),
        {"do": "save"},
        text=EMPTY,
    )
    assert [each["done"] for each in answers] == [True, False, False, True, True, True, True]
    assert answers[4]["rig"]["file"] == str(tmp_path / "band.toml")
    assert 'name = "Big band"' in (tmp_path / "band.toml").read_text(encoding="utf-8")
    assert taken.read_text(encoding="utf-8") == "mine"
    assert bench.show.engine.rig.rig.name == "Big band"


async def test_a_port_is_found_by_playing_it(tmp_path: Path) -> None:
    """listen: inputs and outputs that the rig does not use, with short names; what is played there is counted."""
    system = MemorySystem("pit", ("Grand piano 2:out",), ("Bass box:in",))
    file = tmp_path / "pit.toml"
    async with serving(_bench(), file, TEXT, system):
        first = await ask({"do": "listen"})
        system.input("Grand piano 2:out").push(bytes.fromhex("90 3C 40"))
        second = await ask({"do": "listen"})
    assert [(each["name"], each["messages"]) for each in first["inputs"]] == [("grand-piano", 0)]
    assert second["inputs"][0]["messages"] == 1
    assert "C4" in second["inputs"][0]["last"]
    assert [each["port"] for each in second["outputs"]] == ["Bass box:in"]
