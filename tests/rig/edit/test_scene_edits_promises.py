"""Every kind of edit on any rig: it loads, no comment is lost, and only what was asked for is changed.

The rules are the project's own (README: what is saved stays saved); no outside source.
"""

import re
import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.rig.edit.differences import rigs
from engine.rig.edit.scene_edits import (
    EditError,
    add_control,
    copy_scene,
    delete_scene,
    move_scene,
    put_scene,
    put_setlist,
    rename_scene,
    renumber_scene,
    set_routes,
)
from engine.rig.edit.versions import RigVersions
from engine.rig.models.rig import Rig, Route, Scene
from engine.rig.read.load import load, read, text_of
from tests.support import random_rigs
from tests.support.random_rig_files import rig_texts

SETTINGS = settings(max_examples=40)


def commented(text: str) -> str:
    """The same rig with its own comment above each section and after each line that is a whole pair."""
    made = []
    for number, line in enumerate(text.split("\n")):
        if line.startswith("["):
            made.append(f"# above {number}.")
        whole = not line.startswith("[") and "=" in line and line.count("[") == line.count("]") and '"""' not in line
        made.append(f"{line}   # behind {number}." if whole and line.count("{") == line.count("}") else line)
    return "\n".join(made)


def comments(text: str) -> Counter[str]:
    return Counter(re.findall(r"# (?:above|behind) \d+\.", text))


def tables(routes: tuple[Route, ...]) -> list[dict[str, object]]:
    return [route.model_dump(mode="json", by_alias=True, exclude_unset=True) for route in routes]


@st.composite
def edits(draw: st.DrawFn, text: str) -> tuple[str, str]:
    """The name of an edit, and the text after it; the text unchanged if that edit is impossible."""
    rig = read(text, "any")
    scene, other = (draw(st.sampled_from(rig.scenes)) for _ in range(2))
    free = next(number for number in range(1, 999) if rig.scene(number) is None)
    ways = {
        "copy": lambda: copy_scene(text, scene.number, free, "a copy of its own"),
        "rename": lambda: rename_scene(text, scene.number, 'Waltz "slow" \\ # 3'),
        "renumber": lambda: renumber_scene(text, scene.number, free),
        "move": lambda: move_scene(text, scene.number, draw(st.sampled_from((other.number, None)))),
        "delete": lambda: delete_scene(text, scene.number),
        "routes": lambda: set_routes(text, scene.number, tables(other.routes)),
        "put": lambda: put_scene(text, free, "stored now", {"routes": tables(other.routes)}),
        "control": lambda: add_control(text, {"input": next(iter(rig.inputs)), "when": {"note": 3}, "do": "panic"}),
        "setlist": lambda: put_setlist(text, "a list of its own", [scene.number, other.number]),
    }
    kind = draw(st.sampled_from(sorted(ways)))
    try:
        return kind, ways[kind]()
    except EditError:
        return "refused", text


@pytest.mark.slow
@SETTINGS
@given(st.data(), st.one_of(rig_texts(), random_rigs.rigs()))
def test_after_any_edits_the_rig_loads_and_every_comment_is_there(data: st.DataObject, plain: str) -> None:
    """After three edits of any kind the rig loads; comments disappear only with a scene or route that was removed."""
    text = commented(plain)
    for _ in range(3):
        kind, made = data.draw(edits(text))
        before, after = read(text, "before"), read(made, "after")
        lost = comments(text) - comments(made)
        if kind not in ("delete", "routes"):
            assert not lost, kind
        elif kind == "delete":
            assert len(after.scenes) == len(before.scenes) - 1
        text = made


def _without(rig: Rig, number: int, left_out: tuple[str, ...]) -> Scene | None:
    """A scene but for these of its keys."""
    scene = rig.scene(number)
    return scene and scene.model_copy(update=dict.fromkeys(left_out))


@SETTINGS
@given(st.data(), st.one_of(rig_texts(), random_rigs.rigs()))
def test_an_edit_changes_what_was_asked_for_and_nothing_else(data: st.DataObject, text: str) -> None:
    """An edit changes only its own scene; a copied or renumbered scene does what the original did."""
    kind, made = data.draw(edits(text))
    before, after = read(text, "before"), read(made, "after")
    assert (before.inputs, before.outputs, before.instruments) == (after.inputs, after.outputs, after.instruments)
    same = {each.number for each in before.scenes} & {each.number for each in after.scenes}
    # a scene that is like the renumbered one goes on being like it
    follows = ("like",) if kind == "renumber" else ()
    changed = [number for number in same if _without(before, number, follows) != _without(after, number, follows)]
    assert len(changed) <= (1 if kind in ("rename", "routes") else 0)
    if kind in ("refused", "move", "control", "setlist"):
        assert not [each for each in rigs(before, after) if each.startswith("scene ")]
    if kind == "copy":
        new = next(each for each in after.scenes if each.name == "a copy of its own")
        assert any((new.routes, new.burst) == (each.routes, each.burst) for each in before.scenes)


@pytest.mark.slow
@SETTINGS
@given(st.data(), st.one_of(rig_texts(), random_rigs.rigs()), st.booleans(), st.booleans())
def test_saved_and_loaded_it_is_the_same_rig(data: st.DataObject, text: str, bom: bool, windows: bool) -> None:
    """A rig saved after any edit and loaded again has the same scenes, whatever line ends and BOM the file had."""
    _, made = data.draw(edits(text))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "pit.toml"
        stored = text.replace("\n", "\r\n") if windows else text
        file.write_bytes((b"\xef\xbb\xbf" if bom else b"") + stored.encode())
        RigVersions(file).save(made, text)
        assert load(file) == read(made, "made")
        assert text_of(file) == made
        assert file.read_bytes().startswith(b"\xef\xbb\xbf") == bom
        RigVersions(file).save(RigVersions(file).undo() if made != text else text, made)
        assert file.read_bytes() == (b"\xef\xbb\xbf" if bom else b"") + stored.encode()
