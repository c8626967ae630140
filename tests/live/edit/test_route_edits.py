"""Routes and bursts edited from the front panel. (Our own design; no outside source.)"""

import time
from pathlib import Path
from typing import Any

import pytest

from engine.core.commands import MuteRoute, RecallScene
from engine.live.edit.edit_requests import EditRequests
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import to_its_end
from tests.support.answered import answered
from tests.support.small_show import RIG, Bench

KEYS, PEDALS = 0, 1
TEXT = f"""# for Friday
{RIG}
[[routes]]
name = "thump"
from = "pedals"
to = "strings"
[instruments.lead]
output = "brass"
channel = 1
sounds = {{ "Horn" = {{ program = 7 }} }}
"""


class Panel:
    """A show in scene 1, edited as the panel does."""

    def __init__(self, folder: Path, text: str = TEXT) -> None:
        self.bench = Bench(text)
        self.show = self.bench.show
        self.show.apply(RecallScene(1), "shell")
        file = folder / "pit.toml"
        file.write_text(text, encoding="utf-8")
        self.session = RigSession(self.show, file, text, to_its_end)
        saver, work = RigSaver(self.session), RemoteWork(self.show, self.session)
        self.handlers = EditRequests(self.show, self.session, saver, work).handlers
        self.heard()

    async def edit(
        self, what: str, scene: int | None = None, **more: int | list[Any] | str | dict[str, Any]
    ) -> dict[str, Any]:
        numbered = {} if scene is None else {"scene": scene}
        return await answered(self.handlers, {"do": "edit", "what": what, **numbered, **more})

    def heard(self) -> tuple[list[str], list[str]]:
        return self.bench.heard("strings"), self.bench.heard("brass")

    def routes(self, scene: int) -> list[tuple[object, object, list[str]]]:
        return [
            (route.source, route.to, [step if isinstance(step, str) else step.filter for step in route.through])
            for route in self.bench.scene(scene).routes
        ]


@pytest.fixture
def panel(tmp_path: Path) -> Panel:
    """The show before any edit."""
    return Panel(tmp_path)


async def test_a_way_plays_at_once(panel: Panel) -> None:
    """A new connection plays at once, unsaved; it can be undone and redone."""
    first = panel.show.revision
    answer = await panel.edit("join", 1, **{"from": "keys", "to": "brass"})
    assert answer == {
        "done": True,
        "code": "done",
        "text": "scene 1: keys connected to brass; not saved yet (bayleaf save)",
    }
    panel.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert panel.heard() == (["90 3C 40", "80 3C 40"],) * 2
    assert (panel.session.unsaved, panel.show.revision) == (True, first + 1)

    assert (await panel.edit("undo"))["text"].startswith("undone: scene 1: keys connected to brass")
    panel.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert panel.heard() == (["90 3C 40", "80 3C 40"], [])
    assert not panel.session.unsaved

    assert (await panel.edit("redo"))["text"].startswith("redone: scene 1: keys connected to brass")
    panel.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert panel.heard()[1] == ["90 3C 40", "80 3C 40"]
    assert panel.show.revision == first + 3
    assert panel.session.text.startswith("# for Friday\n")


async def test_a_way_that_is_there_is_not_doubled(panel: Panel) -> None:
    """Connecting what is already connected changes nothing, and the answer says so."""
    answer = await panel.edit("join", 1, **{"from": "keys", "to": "strings"})
    assert answer == {"done": True, "code": "unchanged", "text": "scene 1: keys is already connected to strings"}
    assert not panel.session.unsaved


async def test_another_scene_than_the_one_in_force(panel: Panel) -> None:
    """The named scene is edited; what plays is unchanged."""
    panel.bench.play(KEYS, "90 3C 40")
    panel.heard()
    answer = await panel.edit("part", 3, **{"from": "pedals", "to": "brass"})
    assert answer["done"]
    assert panel.routes(3) == [(("keys",), ("brass",), ["transpose"])]
    assert panel.heard() == ([], [])


async def test_a_way_is_parted_in_every_route_that_has_it(panel: Panel) -> None:
    """Disconnecting removes the connection from every route that has it; the other connections of each route stay."""
    await panel.edit("chain", 2, route=0, through=[{"filter": "transpose", "semitones": 3}])
    assert (await panel.edit("part", 2, **{"from": "keys", "to": "brass"}))["done"]
    assert panel.routes(2) == [(("keys",), ("strings",), ["transpose"])]


async def test_a_line_is_taken_away_when_its_way_is_parted(tmp_path: Path) -> None:
    """Disconnecting what a play line connects takes the line out of the file; so it does in a list of scenes."""
    line = '{ from = "keys", on = "lead" }'
    text = TEXT.replace("format = 1", "format = 2").replace(
        'routes = [{ from = "keys", to = "strings" }]', f"play = [{line}]"
    )
    panel = Panel(tmp_path, text)
    answer = await panel.edit("part", 1, **{"from": "keys", "to": "brass"})
    assert answer["text"].startswith("scene 1: keys disconnected from brass")
    assert panel.session.text == text.replace(f"play = [{line}]", "play = []")
    assert (await panel.edit("part", 1, **{"from": "keys", "to": "brass"}))[
        "text"
    ] == "scene 1: keys is not connected to brass"


async def test_a_held_note_has_its_release_when_its_way_is_parted(panel: Panel) -> None:
    """A key held while its connection is removed is released on the output where it sounded."""
    panel.bench.play(KEYS, "90 3C 40")
    assert (await panel.edit("part", 1, **{"from": "keys", "to": "strings"}))["done"]
    panel.bench.play(KEYS, "80 3C 40", "90 3E 40")
    strings, brass = panel.heard()
    assert strings == ["90 3C 40", "80 3C 40"]
    assert brass == []


async def test_a_chain_plays_at_once(panel: Panel) -> None:
    """A route's filters can be replaced or removed."""
    answer = await panel.edit("chain", 1, route=0, through=[{"filter": "transpose", "semitones": 12}])
    assert answer["text"].startswith("scene 1: keys to strings goes through transpose")
    panel.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert panel.heard()[0] == ["90 48 40", "80 48 40"]
    assert (await panel.edit("chain", 1, route=0, through=[]))["text"].startswith(
        "scene 1: keys to strings goes through no filter"
    )
    panel.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert panel.heard()[0] == ["90 3C 40", "80 3C 40"]


async def test_one_output_gets_a_route_of_its_own(tmp_path: Path) -> None:
    """With the same filters, which can then differ; a mute by the route's name still mutes both."""
    shift = 'through = [{ filter = "transpose", semitones = 5 }]'
    plain = '{ from = "keys", to = ["strings", "brass"]'
    text = TEXT.replace("format = 1", "format = 2").replace(plain, f'{plain}, name = "tune", {shift}')
    panel = Panel(tmp_path, text)
    answer = await panel.edit("split", 2, route=0, to="strings")
    assert answer["text"].startswith("scene 2: keys to strings is a route of its own")
    kept, own = panel.bench.scene(2).routes
    assert (kept.name, kept.to, own.name, own.group, own.to) == ("tune", ("brass",), None, "tune", ("strings",))
    assert (await panel.edit("chain", 2, route=1, through=[]))["done"]
    panel.show.apply(RecallScene(2), "shell")
    panel.heard()
    panel.bench.play(KEYS, "90 3C 40")
    assert panel.heard() == (["90 3C 40"], ["90 41 40"])
    panel.show.apply(MuteRoute("tune"), "shell")
    panel.bench.play(KEYS, "90 40 40")
    assert panel.heard() == ([], [])


async def test_a_route_with_one_output_is_not_split(panel: Panel) -> None:
    """Nor is one that the scene does not have, or by an output that it does not lead to."""
    for scene, place, to in ((1, 0, "strings"), (2, 0, "lights"), (2, 7, "strings")):
        assert not (await panel.edit("split", scene, route=place, to=to))["done"]


async def test_an_invalid_chain_is_refused_with_its_keys(panel: Panel) -> None:
    """The settings at fault are named as data, so that a form can mark them without parsing the sentence."""
    chain = [{"filter": "velocity", "fixed": 64}, {"filter": "transpose", "semitones": 300}]
    answer = await panel.edit("chain", 1, route=0, through=chain)
    assert (answer["done"], answer["code"]) == (False, "invalid-rig")
    assert answer["keys"] == ["scenes.1.routes.1.through.2.semitones"]


async def test_a_form_that_leaves_something_open(panel: Panel) -> None:
    """A setting that a form sends as null is not written; a table with numbers as keys is."""
    chain = [
        {"filter": "velocity", "fixed": None, "range": [20, 90]},
        {"filter": "channels", "map": {"1": 3}},
    ]
    assert (await panel.edit("chain", 1, route=0, through=chain))["done"]
    panel.bench.play(KEYS, "90 3C 7F")
    assert panel.heard()[0] == ["92 3C 5A"]


async def test_a_burst_plays_at_once(panel: Panel) -> None:
    """When the scene in force gets a new burst, its steps are sent; an empty burst is allowed."""
    steps = [{"instrument": "lead", "sound": "Horn"}]
    answer = await panel.edit("burst", 1, burst=steps)
    assert answer["text"].startswith("scene 1: the burst has 1 step;")
    assert panel.heard()[1] == ["C0 06"]
    assert (await panel.edit("burst", 1, burst=[]))["text"].startswith("scene 1: the burst has no steps;")
    assert panel.bench.scene(1).burst == ()


KINDS = "join, part, chain, split, burst, lines, facts, undo, redo, values, rig, rename, remove, move or sounds"
ONE_OF = f'edit: "what" must be {KINDS}'


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            {"what": "dance"},
            ONE_OF,
        ),
        (
            {"what": ["join"]},
            ONE_OF,
        ),
        ({"what": "join"}, 'edit join needs "scene": a scene'),
        ({"what": "join", "scene": 9, "from": "keys", "to": "brass"}, "there is no scene 9; there are: 1, 2, 3"),
        ({"what": "join", "scene": True}, '"scene" must be a scene'),
        ({"what": "join", "scene": 1}, 'needs "from": the name of an input'),
        (
            {"what": "part", "scene": 1, "from": "keys", "to": "bass"},
            'there is no output "bass"; did you mean "brass"? there are: strings, brass',
        ),
        ({"what": "join", "scene": 1, "from": ["keys"], "to": "brass"}, '"from" must be the name of an input'),
        ({"what": "part", "scene": 1, "from": "pedals", "to": "strings"}, "a route of every scene leads from pedals"),
        ({"what": "chain", "scene": 1, "route": 1, "through": []}, "scene 1 has 1 route; the first is route 0"),
        ({"what": "chain", "scene": 1, "route": -1, "through": []}, "scene 1 has 1 route"),
        ({"what": "chain", "scene": 1, "route": True, "through": []}, '"route" must be the place of a route'),
        ({"what": "chain", "scene": 1, "route": 0}, 'needs "through": a list of filters, each with its settings'),
        (
            {"what": "chain", "scene": 1, "route": 0, "through": ["thin"]},
            'there is no chain "thin"; for the filter write {',
        ),
        ({"what": "burst", "scene": 1, "burst": {}}, '"burst" must be a list of steps'),
        (
            {"what": "chain", "scene": 1, "route": 0, "through": [{"filter": "transpose", "semitones": 200}]},
            "scenes.1.routes.1.through.1.semitones",
        ),
        ({"what": "chain", "scene": 1, "route": 0, "through": [{}]}, "scenes.1.routes.1.through.1"),
        ({"what": "chain", "scene": 1, "route": 0, "through": [{"filter": "thin", "x": [None]}]}, "cannot hold None"),
        ({"what": "facts", "scene": 1, "facts": {"colour": 1}}, "colour: not a fact of a scene"),
        ({"what": "facts", "scene": 9, "facts": {"tempo": 96}}, "there is no scene 9"),
        ({"what": "facts", "scene": 1, "facts": {"tempo": 96}}, "format = 2"),
        ({"what": "burst", "scene": 1, "burst": [{"instrument": "lead", "sound": "Oboe"}]}, "Oboe"),
        ({"what": "burst", "scene": 1, "burst": [{"instrument": "lute"}]}, "scenes.1.burst.1"),
        ({"what": "redo"}, "there is no undone edit to redo"),
        ({"what": "undo"}, "there is no edit to undo"),
    ],
)
async def test_what_cannot_be_done(panel: Panel, asked: dict[str, Any], said: str) -> None:
    """It is rejected with a sentence that says what is wrong and where, and nothing changes."""
    first = panel.show.revision
    answer = await answered(panel.handlers, {"do": "edit", **asked})
    assert answer["done"] is False
    assert said in answer["text"]
    assert (panel.show.revision, panel.show.own_faults, panel.session.text) == (first, 0, TEXT)


async def test_an_engine_that_is_started_again_has_rigs_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An edit prepared against an earlier run of the engine is not applied to the rig of the next run."""
    monkeypatch.setattr(time, "time_ns", lambda: 1_700_000_000_000_000_000)
    seen = Panel(tmp_path).show.revision
    monkeypatch.setattr(time, "time_ns", lambda: 1_700_000_005_000_000_000)
    stale = await Panel(tmp_path).edit("chain", 1, route=0, through=[], revision=seen)
    assert stale["text"] == "the rig has changed since you looked at it; look again. Nothing was changed"


async def test_facts_of_a_scene(tmp_path: Path) -> None:
    """Cue, text, tempo and transposition are set and taken away; a refusal has its words key by key."""
    panel = Panel(tmp_path, TEXT.replace("format = 1", "format = 2"))
    answer = await panel.edit("facts", 1, facts={"cue": "14.5", "text": "watch", "tempo": 96, "transpose": -2})
    assert answer["text"].startswith("scene 1: new cue, text, tempo, transpose"), answer
    scene = panel.bench.scene(1)
    assert (scene.cue, scene.text, scene.tempo, scene.transpose) == ("14.5", "watch", 96, -2)
    await panel.edit("facts", 1, facts={"cue": None, "tempo": None})
    assert (panel.bench.scene(1).cue, panel.bench.scene(1).text) == (None, "watch")
    refusal = await panel.edit("facts", 1, facts={"tempo": "fast", "transpose": 500})
    assert refusal["keys"] == ["scenes.1.transpose", "scenes.1.tempo"]  # in the order of the file
    assert ["allowed" in words for words in refusal["words"]] == [True, True]


async def test_an_edit_of_what_has_changed_meanwhile(panel: Panel) -> None:
    """An edit based on another revision is rejected, since a route's place may mean something else by now."""
    chain, seen = [{"filter": "transpose", "semitones": 12}], panel.show.revision
    assert (await panel.edit("chain", 1, route=0, through=chain, revision=seen))["done"]
    stale = await panel.edit("chain", 1, route=0, through=[], revision=seen)
    assert stale["text"] == "the rig has changed since you looked at it; look again. Nothing was changed"
    assert panel.routes(1) == [(("keys",), ("strings",), ["transpose"])]
