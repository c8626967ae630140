"""A rig of format 1 in shorter words does the same, keeps its comments, and says what it could not shorten."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.offline.scene_proof import CompiledSide, SceneProof
from engine.offline.simplified_rig import SimplifyError, simplified
from engine.rig.edit.toml_edits import EditError
from engine.rig.read.load import read

HEAD = """# the pit of the Lantern Street theatre
format = 1
[inputs]
keys = { port = "Stage piano*" }
upper = { port = "Organ*" }
[outputs]
left = { port = "Box*1", wire = "din" }
right = { port = "Box*2" }
[instruments.bass]
output = "left"
channel = 2
sounds = { Upright = { program = 33 }, Fretless = { program = 36 } }
[instruments.brass]
output = "left"
channel = 3
sounds = { Section = { program = 62 }, Muted = { program = 60 } }
"""
STRIPPED = '{ filter = "strip", kinds = ["program", "controller 0", "controller 32", "channel_mode"] }'
SOFT = '{ filter = "velocity", range = [20, 90] }'


def _scene(number: int, routes: str, more: str = "") -> str:
    return f'\n[[scenes]]\nnumber = {number}\nname = "Scene {number}"\nroutes = [ {routes} ]\n{more}'


def _route(chain: str, to: str = '"left"', more: str = "") -> str:
    return f'{{ {more}from = "keys", to = {to}, through = [ {chain} ] }}'


def _to(channel: int) -> str:
    return f'{{ filter = "channels", keep = [1], map = {{ 1 = {channel} }} }}'


def _shorter(scenes: str) -> str:
    """The scenes as they are written now."""
    return simplified(HEAD + scenes, "pit.toml").text.removeprefix(HEAD.replace("format = 1", "format = 2"))


def test_a_route_becomes_a_line() -> None:
    """Range, transposition, channel, pedals and programs in the words of a line; its sound is in it."""
    zone = '{ filter = "zone", notes = ["C-1", "B3"] }'
    pedals = '{ filter = "strip", kinds = ["controller 64", "controller 66", "controller 67", "controller 69"] }'
    chain = f'{STRIPPED}, {pedals}, {zone}, {{ filter = "transpose", semitones = -12 }}, {_to(2)}'
    burst = 'burst = [ { instrument = "bass", sound = "Upright" } ]\n'
    assert _shorter(_scene(1, _route(chain), burst)) == (
        '\n[[scenes]]\nnumber = 1\nname = "Scene 1"\nplay = [\n'
        '  { from = "keys", on = "bass", sound = "Upright", notes = "..B3", transpose = -12, channel = 1, '
        "pedal = false },\n"
        "]\n"
    )


def test_channels_in_several_filters_are_one() -> None:
    """What all of them together take, and where everything ends: kept first and moved last, or moved twice."""
    zone = '{ filter = "zone", notes = ["C4", "G9"] }'
    for first, last in (
        ("keep = [1]", "map = { 1 = 3 }"),
        ("keep = [1, 2], map = { 1 = 9 }", "keep = [9], map = { 9 = 3 }"),
    ):
        chain = f'{{ filter = "channels", {first} }}, {STRIPPED}, {zone}, {{ filter = "channels", {last} }}'
        assert 'play = [{ from = "keys", on = "brass", notes = "C4..", channel = 1 }]\n' in _shorter(
            _scene(1, _route(chain))
        )


def test_what_program_changes_and_mode_messages_did_stays() -> None:
    """A route that let them through becomes a line that does; one that stops some of them stops just these."""
    assert "channel = 1, programs = true }]" in _shorter(_scene(1, _route(_to(2))))
    some = '{ filter = "strip", kinds = ["program"] }'
    assert f"programs = true, through = [{some}] }}" in _shorter(_scene(1, _route(f"{some}, {_to(2)}"))).replace(
        "\n", ""
    ).replace("  ", " ")


def test_scenes_are_said_by_their_difference_and_chains_get_names() -> None:
    """A scene like the one before says what changed; filters that come several times are a chain."""
    lines = f"{_route(f'{STRIPPED}, {SOFT}, {_to(2)}')}, {_route(f'{STRIPPED}, {SOFT}, {_to(3)}')}"
    burst = 'burst = [ {{ instrument = "bass", sound = "{}" }}, {{ instrument = "brass", sound = "Muted" }} ]\n'
    two = _scene(1, lines, burst.format("Upright")) + _scene(2, lines, burst.format("Fretless"))
    chain = '[chains]\n"velocity scaled to 20 to 90" = [{ filter = "velocity", range = [20, 90] }]\n'
    made = _shorter(two)
    assert made.startswith("\n" + chain)
    assert made.endswith(
        '[[scenes]]\nnumber = 2\nname = "Scene 2"\nlike = 1\nplay = [\n  { from = "keys", on = "bass", '
        'sound = "Fretless", channel = 1, through = ["velocity scaled to 20 to 90"] },\n]\n'
    )


def test_comments_stay() -> None:
    """Those around a scene where they are, those within its lists above them."""
    scene = (
        '\n# act one\n[[scenes]]  # slow\nnumber = 1 # first\nname = "A # B"\nroutes = [\n  # left hand\n'
        f"  {_route(_to(2))},  # warm\n]\n# the end\n"
    )
    assert _shorter(scene) == (
        '\n# act one\n[[scenes]]  # slow\nnumber = 1 # first\nname = "A # B"\n# left hand\n# warm\n'
        'play = [{ from = "keys", on = "bass", channel = 1, programs = true }]\n# the end\n'
    )


KEPT = {
    "all channels": (_route(SOFT), "every channel passes as it comes in, and a line plays one"),
    "nobody there": (_route(_to(9)), "no instrument of left is on channel 9"),
    "other channels pass": (
        _route('{ filter = "channels", map = { 1 = 2 } }'),
        "its messages end on several channels of left, and a line plays one",
    ),
    "a name for two": (
        _route(_to(2), '["left", "right"]', 'name = "both", '),
        "its name is for several outputs, and a line has one",
    ),
    "velocity first": (
        _route(f'{SOFT}, {{ filter = "zone", velocity = [1, 50] }}, {_to(2)}'),
        "a line would do something else (90 00 33 gave 91 00 30 and now gives nothing)",
    ),
}


@pytest.mark.parametrize("case", KEPT.values(), ids=KEPT)
def test_what_cannot_be_shortened_is_said(case: tuple[str, str]) -> None:
    """The route stays as it is written, with the reason."""
    route, reason = case
    made = simplified(HEAD + _scene(1, route), "pit.toml")
    assert len(made.kept) == 1
    assert made.kept[0].place in ("route 1 of scene 1", "route both of scene 1")
    assert made.kept[0].reason == reason
    assert read(made.text, "pit.toml").scenes[0].routes == read(HEAD + _scene(1, route), "pit.toml").scenes[0].routes


def test_one_channel_alone_may_be_compared() -> None:
    """If inputs send on channel 1 only, a route that moves it, or leaves it, becomes a line without a channel."""
    moved = _route(f'{STRIPPED}, {{ filter = "channels", map = {{ 1 = 2 }} }}')
    text = HEAD.replace("channel = 3", "channel = 1") + _scene(1, f"{moved}, {_route(STRIPPED)}")
    made = simplified(text, "pit.toml", channel=1)
    assert made.kept == []
    assert 'play = [{ from = "keys", on = "bass" }, { from = "keys", on = "brass" }]\n' in made.text
    assert len(simplified(text, "pit.toml").kept) == 2


def test_what_is_no_rig_of_format_1_is_refused() -> None:
    """A rig in format 2, and one with all scenes in one list."""
    with pytest.raises(SimplifyError, match="is written in format 2 already"):
        simplified(HEAD.replace("format = 1", "format = 2") + _scene(1, _route(_to(2))), "pit.toml")
    with pytest.raises(SimplifyError, match="all scenes in one list"):
        simplified('format = 1\nscenes = [ { number = 1, name = "One" } ]\n', "pit.toml")


FILTERS = st.sampled_from(
    [
        STRIPPED,
        SOFT,
        '{ filter = "zone", notes = ["C3", "B5"], velocity = [10, 90] }',
        '{ filter = "zone", notes = ["C4", "C4"] }',
        '{ filter = "transpose", semitones = 70 }',
        '{ filter = "transpose", semitones = -3, outside = "fold" }',
        '{ filter = "channels", map = { 1 = 2, 4 = 5 } }',
        '{ filter = "channels", drop = [3] }',
        '{ filter = "controllers", map = { 1 = 64 } }',
        '{ filter = "controllers", drop = [64, 66, 67, 69] }',
        '{ filter = "strip", kinds = ["controllers", "clock"] }',
        '{ filter = "strip", kinds = ["sysex", "channel_mode", "program"] }',
        '{ filter = "latch", controllers = [64] }',
        '{ filter = "programs", map = { 1 = 9 } }',
    ]
)


@pytest.mark.slow
@settings(deadline=None, max_examples=8)
@given(chain=st.lists(FILTERS, max_size=4), at=st.integers(0, 4), other=st.lists(FILTERS, max_size=2))
def test_every_message_fares_as_before(chain: list[str], at: int, other: list[str]) -> None:
    """Whatever filters a route has, in any order: what every short message becomes is the same as before."""
    chain.insert(at, _to(2))
    text = HEAD + _scene(1, f"{_route(', '.join(chain))}, {_route(', '.join((*other, _to(3))))}")
    before, after = read(text, "pit.toml"), read(simplified(text, "pit.toml").text, "pit.toml")
    sides = CompiledSide(before), CompiledSide(after)
    paths = [side.paths(scene)[0] for side, scene in zip(sides, (before.scenes[0], after.scenes[0]), strict=True)]
    if any(link.keeps_state for listed in paths for path in listed for link in path.links):
        return
    for kind in range(0x80, 0xF0, 0x10):
        for channel in (0, 1, 3, 15):
            for first in (0, 32, 47, 48, 59, 60, 61, 64, 72, 83, 84, 120, 127):
                for second in (0, 9, 10, 90, 91):
                    message = bytes((kind | channel, first, *([] if kind in (0xC0, 0xD0) else [second])))
                    came, goes = (_all(listed, message) for listed in paths)
                    assert came == goes


def _all(paths: list[Any], message: bytes) -> list[bytes]:
    found = []
    for path in paths:
        flowing = [message]
        for link in path.links:
            flowing = [made for each in flowing for made in link.step(each, 0)]
        found += flowing
    return sorted(found)


def test_the_proof_finds_a_difference() -> None:
    """One key, one controller, one channel, one program, one more way, or another order of the burst."""
    base = _route(f'{STRIPPED}, {{ filter = "zone", notes = ["C3", "B5"] }}, {SOFT}, {_to(2)}')
    one = read(HEAD + _scene(1, base, 'burst = [ { instrument = "bass", sound = "Upright" } ]\n'), "a.toml")
    for old, new in (
        ('"B5"', '"C6"'),
        ("[20, 90]", "[20, 91]"),
        ("keep = [1]", "keep = [1, 7]"),
        ('"controller 32"', '"controller 33"'),
        ('Upright" }', 'Fretless" }'),
        ("routes = [", f"routes = [ {_route(_to(3))},"),
    ):
        changed = HEAD + _scene(1, base, 'burst = [ { instrument = "bass", sound = "Upright" } ]\n').replace(old, new)
        other = read(changed, "b.toml")
        for rig, differs in ((one, False), (other, True)):
            proof = SceneProof(CompiledSide(one), CompiledSide(rig))
            assert (proof.difference(one.scenes[0], rig.scenes[0]) is not None) == differs


def test_a_rig_that_cannot_be_edited_is_refused() -> None:
    """A section that is split by another one: the text says what to do."""
    text = (
        HEAD
        + '\n[[scenes]]\nnumber = 1\nname = "One"\n[rig]\nname = "Pit"\n[[scenes.routes]]\nfrom = "keys"\nto = "left"\n'
    )
    with pytest.raises(EditError, match="move the two together"):
        simplified(text, "pit.toml", Path())
