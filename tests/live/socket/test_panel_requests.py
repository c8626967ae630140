"""What the front panel asks of an engine. (Our own protocol; no outside source.)"""

import json
import threading
from pathlib import Path
from typing import Any

import pytest
import trio

from engine.core.commands import MuteRoute, RecallScene
from engine.live.socket import rig_outline
from engine.ports.memory import MemoryOutput, MemorySystem
from engine.rig.models.rig import Rig, Scene
from engine.rig.rig_as_json import scene_outline
from filters.registry import registry
from tests.support.engine_socket import ask, line_of, serving
from tests.support.small_show import MS, RIG, Bench
from tests.support.whole_outline import outline

pytestmark = pytest.mark.usefixtures("runtime_dir")

KEYS = 0
TEXT = f"""{RIG}
[[routes]]
name = "thump"
from = "keys"
to = "brass"
through = [{{ filter = "zone", notes = [0, 40] }}]
"""


@pytest.fixture
def bench() -> Bench:
    """A show in scene 1."""
    bench = Bench(TEXT)
    bench.show.apply(RecallScene(1), "shell")
    bench.heard("strings")
    return bench


# The rig


async def test_the_rig(bench: Bench, tmp_path: Path) -> None:
    """rig: the rig, its file, its revision, and whether it is saved."""
    file = tmp_path / "pit.toml"
    file.write_text(TEXT, encoding="utf-8")
    join = {"do": "edit", "what": "join", "scene": 1, "from": "pedals", "to": "brass"}
    async with serving(bench, file, TEXT):
        before = await ask({"do": "rig"})
        edited = await ask(join)
        after = await ask({"do": "rig"})
        await ask({"do": "save"})
        saved = await ask({"do": "rig"})
    assert before == {
        "done": True,
        "code": "done",
        "text": "Lantern Street pit band: 3 scenes",
        "revision": before["revision"],
        "unsaved": False,
        "rig": {"file": str(file), **outline(bench.rig)},
    }
    assert edited == {
        "done": True,
        "code": "done",
        "text": "scene 1: pedals connected to brass; not saved yet (bayleaf save)",
    }
    assert (after["revision"], after["unsaved"]) == (before["revision"] + 1, True)
    assert after["rig"]["scenes"][0]["routes"][-1]["from"] == ["pedals"]
    assert (saved["revision"], saved["unsaved"]) == (before["revision"] + 1, False)


async def test_what_has_changed_in_the_rig(bench: Bench, tmp_path: Path) -> None:
    """rig with `since`: the sections and scenes that an edit has changed; a scene as it was is its number alone."""
    file = tmp_path / "pit.toml"
    file.write_text(TEXT, encoding="utf-8")
    async with serving(bench, file, TEXT):
        whole = await ask({"do": "rig"})
        await ask({"do": "edit", "what": "join", "scene": 2, "from": "pedals", "to": "brass"})
        changed = await ask({"do": "rig", "since": whole["revision"]})
        same = await ask({"do": "rig", "since": changed["revision"]})
        now = await ask({"do": "rig"})
    assert (changed["since"], changed["revision"]) == (whole["revision"], now["revision"])
    assert changed["rig"] == {"scenes": [1, now["rig"]["scenes"][1], 3]}
    assert (same["since"], same["rig"]) == (now["revision"], {})
    assert "since" not in now


@pytest.mark.parametrize("since", [0, -1, 1 << 53])
async def test_of_an_unknown_revision_the_whole_rig_is_sent(bench: Bench, since: int) -> None:
    """rig with a `since` of before the first answer, or from another engine, is answered with the whole rig."""
    async with serving(bench):
        whole = await ask({"do": "rig"})
        assert await ask({"do": "rig", "since": since}) == whole


async def test_the_rig_is_outlined_once_a_revision(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many ask for the rig, each scene is made into JSON once in a revision."""
    made = []

    def counted(scene: Scene) -> Any:
        made.append(scene.number)
        return scene_outline(scene)

    monkeypatch.setattr(rig_outline, "scene_outline", counted)
    async with serving(bench), trio.open_nursery() as nursery:
        for _ in range(4):
            nursery.start_soon(ask, {"do": "rig"})
    assert made == [1, 2, 3]


async def test_a_message_to_explain_has_a_limit(bench: Bench) -> None:
    """explain takes a message of 1,024 bytes, and rejects a longer one with the limit."""
    async with serving(bench):
        longest = ["F0", *["11"] * 1022, "F7"]
        taken = await ask({"do": "explain", "scene": 1, "input": "keys", "message": " ".join(longest)})
        longer = await ask({"do": "explain", "scene": 1, "input": "keys", "message": " ".join(["F0", "11", *longest])})
    assert taken["done"]
    assert longer["code"] == "bad-request"
    assert "up to 1,024 bytes" in longer["text"]


async def test_the_filters(bench: Bench) -> None:
    """filters: each by name, with what it does to the music and the schema of its settings."""
    async with serving(bench):
        answer = await ask({"do": "filters"})
    assert set(answer["filters"]) == set(registry())
    transpose = answer["filters"]["transpose"]
    assert transpose["words"] == "Transposes notes by a number of semitones."
    assert transpose["schema"]["properties"]["outside"]["enum"] == ["drop", "fold"]
    assert transpose["schema"]["required"] == ["filter", "semitones"]


# The path of a message


async def test_the_way_of_a_message(bench: Bench) -> None:
    """explain: each route of the input, filter by filter, and what each output gets."""
    bench.show.apply(MuteRoute("thump"), "test")
    async with serving(bench):
        answer = await ask({"do": "explain", "scene": 3, "input": "keys", "message": "90 3C 40"})
    assert answer == {
        "done": True,
        "code": "done",
        "text": "channel 1 note on C4 velocity 64 from keys in scene 3 Finale",
        "routes": [
            {
                "route": "lasting",
                "name": "thump",
                "muted": True,
                "steps": [{"filter": "zone", "verdict": "stops it"}],
                "to": ["brass"],
                "gets": [],
            },
            {
                "route": 0,
                "name": None,
                "muted": False,
                "steps": [{"filter": "transpose", "verdict": "90 48 40"}],
                "to": ["brass"],
                "gets": ["90 48 40"],
            },
        ],
        "outputs": {"brass": ["90 48 40"]},
    }


async def test_a_message_that_commands(bench: Bench) -> None:
    """explain: a message that a control consumes is not routed; the answer says what it commands."""
    async with serving(bench):
        answer = await ask({"do": "explain", "scene": 1, "input": "pedals", "message": "C0 02"})
    assert (answer["routes"], answer["outputs"]) == ([], {})
    assert answer["command"] == "a control takes it; it is not routed: recall scene 3 Finale"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"scene": 9, "input": "keys", "message": "90 3C 40"}, "there is no scene 9; there are: 1, 2, 3"),
        ({"scene": True, "input": "keys", "message": "90 3C 40"}, '"scene" must be a scene'),
        ({"scene": 1, "input": "organ", "message": "90 3C 40"}, 'there is no input "organ"; there are: keys, pedals'),
        ({"scene": 1, "input": ["keys"], "message": "90 3C 40"}, '"input" must be the name of an input'),
        ({"scene": 1, "input": "keys", "message": "90 3C"}, "90 3C is not a message; give one whole MIDI message"),
        ({"scene": 1, "input": "keys"}, 'explain needs "message": one whole MIDI message'),
    ],
)
async def test_a_message_that_has_no_way(bench: Bench, asked: dict[str, Any], said: str) -> None:
    """An unknown scene, an unknown input or an invalid message is answered with what is allowed."""
    async with serving(bench):
        answer = await ask({"do": "explain", **asked})
    assert answer["done"] is False
    assert said in answer["text"]
    assert bench.show.own_faults == 0


# Ports


async def test_the_ports_of_the_system(bench: Bench) -> None:
    """ports: every port of the system, each with its name in the rig."""
    system = MemorySystem("pit", ("keys", "Wind controller"), ("brass", "strings", "Lights"))
    async with serving(bench, system=system):
        answer = await ask({"do": "ports"})
    assert answer == {
        "done": True,
        "code": "done",
        "text": "2 input ports, 3 output ports",
        "inputs": [{"port": "keys", "used_by": "keys"}, {"port": "Wind controller", "used_by": None}],
        "outputs": [
            {"port": "brass", "used_by": "brass"},
            {"port": "strings", "used_by": "strings"},
            {"port": "Lights", "used_by": None},
        ],
    }


async def test_ports_that_cannot_be_listed(bench: Bench) -> None:
    """A MIDI service that is away is reported in its own words."""
    system = MemorySystem("pit", ("keys",), ())
    system.stop()
    async with serving(bench, system=system):
        answer = await ask({"do": "ports"})
    assert answer["done"] is False
    assert "the service of the ports in memory has stopped" in answer["text"]


async def test_a_slow_list_of_ports_holds_nothing_up(bench: Bench) -> None:
    """While the system is slow to list its ports, the show plays on and others are answered."""
    system, asked, may_go = MemorySystem("pit"), threading.Event(), threading.Event()

    def slow() -> list[Any]:
        asked.set()
        assert may_go.wait(30)
        return []

    setattr(system, "inputs", slow)  # noqa: B010 mypy forbids assigning to a method
    async with serving(bench, system=system) as path, await trio.open_unix_socket(path) as stream:
        await stream.send_all(b'{"do": "ports"}\n')
        assert await trio.to_thread.run_sync(asked.wait, 30)
        assert (await ask({"do": "next"}))["done"]
        bench.play(KEYS, "90 3C 40")
        assert "90 3C 40" in bench.heard("strings")
        may_go.set()
        assert json.loads(await line_of(stream))["done"]


# A test note


async def test_a_test_note(bench: Bench) -> None:
    """It is sent on the instrument's output and channel, velocity 64, and ends half a second later."""
    async with serving(bench):
        answer = await ask({"do": "test note", "instrument": "string-machine"})
    assert answer == {
        "done": True,
        "code": "done",
        "text": "C4 for half a second to string-machine (strings, channel 5)",
    }
    assert bench.heard("strings") == ["94 3C 40"]
    assert bench.reader.due == bench.now + 500 * MS
    bench.passes(bench.now + 499 * MS)
    assert bench.heard("strings") == []
    bench.passes(bench.now + 1 * MS)
    assert bench.heard("strings") == ["84 3C 40"]


async def test_a_test_note_on_drums() -> None:
    """Drums are sent a drum, by its name, at the velocity that was asked for: their own first key, or the snare."""
    of_gm = TEXT.replace("channel = 5", "channel = 5\ndrums = true").replace("format = 1", "format = 2")
    for text, note, name in (
        (of_gm, "26", "Acoustic Snare"),
        (of_gm.replace("drums = true", 'drums = true\nkeys = { 40 = "Rim", 36 = "Kick" }'), "24", "Kick"),
    ):
        bench = Bench(text)
        async with serving(bench):
            answer = await ask({"do": "test note", "instrument": "string-machine", "velocity": 100})
        assert answer["text"] == f"{name} for half a second to string-machine (strings, channel 5)"
        assert bench.heard("strings") == [f"94 {note} 64"]


async def test_a_test_note_whose_cable_is_pulled(bench: Bench) -> None:
    """A test note that was cut off by an unplugged cable gets its note-off when the output is back."""
    async with serving(bench):
        await ask({"do": "test note", "instrument": "string-machine"})
    bench.outputs["strings"].unplug()
    bench.passes(bench.now + 600 * MS)
    port = bench.outputs["strings"] = MemoryOutput("strings")
    bench.show.ports.attach_output(0, port)
    assert bench.heard("strings")[0] == "84 3C 40"


async def test_a_test_note_that_nobody_would_hear() -> None:
    """If the instrument or its output is missing, nothing is sent, and the answer says why."""
    bench = Bench(TEXT, missing=("strings",))
    async with serving(bench):
        missing = await ask({"do": "test note", "instrument": "string-machine"})
        unknown = await ask({"do": "test note", "instrument": "lute"})
        odd = await ask({"do": "test note", "instrument": ["lute"]})
    assert missing == {
        "done": False,
        "code": "missing-port",
        "text": "output strings of string-machine is missing; nothing was sent",
    }
    assert unknown == {
        "done": False,
        "code": "unknown-instrument",
        "text": 'there is no instrument "lute"; there are: string-machine',
    }
    assert odd["done"] is False
    assert bench.show.engine.state.ledger.sounding() == 0


# Differences between scenes


async def test_what_differs_between_scenes(bench: Bench) -> None:
    """differences: sentences, as when rigs are compared; none between a scene and itself."""
    async with serving(bench):
        answer = await ask({"do": "differences", "first": 1, "second": 3})
        same = await ask({"do": "differences", "first": 2, "second": 2})
        unknown = await ask({"do": "differences", "first": 1, "second": 4})
    assert answer["text"] == f"{len(answer['differences'])} differences between scenes 1 and 3"
    assert "name: Overture in 1, Finale in 3" in answer["differences"]
    assert same == {"done": True, "code": "done", "text": "no differences between scenes 2 and 2", "differences": []}
    assert unknown == {"done": False, "code": "unknown-scene", "text": "there is no scene 4; there are: 1, 2, 3"}


# Faults


async def test_a_fault_of_our_own_costs_one_request(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """If answering fails, the client gets an answer, the fault is counted, and the next request works."""

    def fail(*_: Rig) -> None:
        raise RuntimeError("a mistake")

    async with serving(bench):
        with monkeypatch.context() as patch:
            patch.setattr(rig_outline, "scene_outline", fail)
            answer = await ask({"do": "rig"})
        assert answer == {
            "done": False,
            "code": "own-fault",
            "text": "a fault of Bayleaf itself: RuntimeError('a mistake')",
        }
        assert (await ask({"do": "rig"}))["done"]
    assert bench.show.own_faults == 1


async def test_tables_of_scenes_have_schemas(bench: Bench) -> None:
    """The page makes its forms of them: a line's keys, and that its chain takes filters and names of chains."""
    async with serving(bench):
        tables = (await ask({"do": "filters"}))["tables"]
    line = tables["play"]["properties"]
    assert {"from", "on", "sound", "notes", "velocity", "transpose", "channel", "pedal", "programs"} <= set(line)
    assert {"type": "string"} in line["through"]["items"]["anyOf"]
    assert tables["enter"]["properties"]["send"]["type"] == "array"
    assert tables["leave"] == tables["enter"]
