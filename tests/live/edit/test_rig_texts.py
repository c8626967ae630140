"""Rigs in pickled parts: what comes back is the same rig, with every part that was equal."""

from engine.core.compiled import compile_rig
from engine.live.edit.rig_adoption import made_ready
from engine.live.edit.rig_texts import EditedText, RigParts, edited, packed
from engine.rig.read.load import load, read, text_of
from tests.support.paths import PRESETS

DEMO = PRESETS / "demo.toml"


def test_a_rig_comes_back_equal_and_of_the_same_models() -> None:
    """What is put together again equals the rig, down to the keys that were given."""
    rig = load(DEMO)
    back = RigParts().unpacked(packed(rig), rig)
    assert back == rig
    assert type(back) is type(rig)
    assert back.model_dump(exclude_unset=True) == rig.model_dump(exclude_unset=True)


def test_parts_that_are_equal_are_kept() -> None:
    """An edit of one scene leaves all other parts as they are, and their compiled scenes, too."""
    text = text_of(DEMO)
    rig, parts = read(text, str(DEMO)), RigParts()
    compiled = compile_rig(rig)
    name = rig.scenes[1].name
    for turn in range(3):  # the second time by the pickled bytes
        found = edited(text.replace(f'"{name}"', f'"Renamed {turn}"'), text, str(DEMO))
        assert isinstance(found, EditedText)
        now = parts.unpacked(found.rig, rig)
        kept = [a is b for a, b in zip(now.scenes, rig.scenes, strict=True)]
        assert kept == [number != 1 for number in range(len(kept))]
        assert now.instruments is rig.instruments
        ready = made_ready(now, compiled)
        same = [ready.compiled.scenes[each.number] is compiled.scenes[each.number] for each in now.scenes]
        assert same == kept
        rig, compiled = now, ready.compiled


def test_other_instruments_or_common_routes_compile_every_scene_again() -> None:
    """A scene's burst depends on the instruments, its answers on the routes of every scene."""
    text = text_of(DEMO)
    rig = read(text, str(DEMO))
    compiled = compile_rig(rig)
    found = edited(text.replace('settle  = "30 ms"', 'settle  = "31 ms"'), text, str(DEMO))
    assert isinstance(found, EditedText)
    now = RigParts().unpacked(found.rig, rig)
    assert now.scenes == rig.scenes
    ready = made_ready(now, compiled)
    assert not any(ready.compiled.scenes[number] is compiled.scenes[number] for number in compiled.scenes)
    assert ready.compiled.scenes.keys() == compile_rig(now).scenes.keys()
