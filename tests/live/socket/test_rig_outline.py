"""The outline of a rig in pieces: a page that takes every difference has the whole. (Our own; no outside source.)"""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.live.socket import rig_outline
from engine.live.socket.rig_outline import RigOutline
from engine.rig.models.rig import Rig, Scene, rig_model
from engine.rig.rig_as_json import scene_outline
from tests.support.whole_outline import outline

NUMBERED = st.tuples(st.integers(1, 6), st.sampled_from("ABC"))
SCENES = st.lists(NUMBERED, unique_by=lambda scene: scene[0], min_size=1, max_size=6)
RIGS = st.lists(st.tuples(SCENES, st.sampled_from(["Pit", "Attic"])), min_size=2, max_size=6)


def rig(scenes: list[tuple[int, str]], name: str) -> Rig:
    """A rig of scenes with these numbers and names."""
    return rig_model().model_validate(
        {
            "format": 1,
            "rig": {"name": name},
            "inputs": {"keys": {"port": "Stage piano"}},
            "outputs": {"strings": {"port": "Box 1"}},
            "scenes": [
                {"number": number, "name": f"{each} {number}", "routes": [{"from": "keys", "to": "strings"}]}
                for number, each in scenes
            ],
        }
    )


def read(parts: dict[str, Any]) -> dict[str, Any]:
    return {name: json.loads(text) for name, text in parts.items()}


def renewed(before: dict[str, Any], changed: dict[str, Any]) -> dict[str, Any]:
    """As the page's `renewed` in connection.js."""
    known = {scene["number"]: scene for scene in before["scenes"]}
    scenes = [known[each] if isinstance(each, int) else each for each in changed.get("scenes", before["scenes"])]
    return {**before, **changed, "scenes": scenes}


@given(RIGS, st.data())
def test_every_difference_makes_the_whole(rigs: list[tuple[list[tuple[int, str]], str]], data: st.DataObject) -> None:
    """From any revision that was asked for, what has changed since makes the outline of now."""
    pieces = RigOutline()
    known: dict[int, dict[str, Any]] = {}
    for revision, (scenes, name) in enumerate(rigs, 7):
        now = rig(scenes, name)
        if revision > 7 and data.draw(st.booleans()):
            continue  # nobody asks in this revision
        since, parts = pieces.parts(now, revision, None)
        assert (since, read(parts)) == (None, outline(now))
        for before, whole in known.items():
            since, parts = pieces.parts(now, revision, before)
            assert (since, renewed(whole, read(parts))) == (before, outline(now))
        known[revision] = outline(now)


def test_an_edit_of_one_scene_of_many_is_small() -> None:
    """One renamed scene of 128 is sent alone, beside the numbers of the others."""
    scenes, pieces = [(number, "A") for number in range(1, 129)], RigOutline()
    pieces.parts(rig(scenes, "Pit"), 1, None)
    scenes[4] = (5, "B")
    _, parts = pieces.parts(rig(scenes, "Pit"), 2, 1)
    _, whole = pieces.parts(rig(scenes, "Pit"), 2, None)
    assert parts.keys() == {"scenes"}
    assert [each for each in json.loads(parts["scenes"]) if not isinstance(each, int)] == [
        json.loads(whole["scenes"])[4]
    ]
    assert 10 * len(parts["scenes"]) < len(whole["scenes"])


def test_a_scene_that_an_edit_keeps_is_not_made_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a rig that shares its scenes with the one before, only those that are new are made into JSON."""
    made = []

    def counted(scene: Scene) -> Any:
        made.append(scene.number)
        return scene_outline(scene)

    monkeypatch.setattr(rig_outline, "scene_outline", counted)
    before, pieces = rig([(number, "A") for number in range(1, 9)], "Pit"), RigOutline()
    pieces.parts(before, 1, None)
    made.clear()
    (new,) = rig([(5, "B")], "Pit").scenes
    after = before.model_copy(update={"scenes": (*before.scenes[:4], new, *before.scenes[5:])})
    _, parts = pieces.parts(after, 2, None)
    assert made == [5]
    assert read(parts) == outline(after)


@pytest.mark.parametrize("since", [None, -1, 0, 3])
def test_what_was_never_known_is_sent_whole(since: int | None) -> None:
    """A revision of before the first, or of later than now, has no difference."""
    pieces, now = RigOutline(), rig([(1, "A")], "Pit")
    assert pieces.parts(now, 2, since) == (None, pieces.parts(now, 2, None)[1])
