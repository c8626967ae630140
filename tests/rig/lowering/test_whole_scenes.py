"""What a scene inherits by `like`, and what replaces what. (Our own design; no source.)"""

from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Scene
from tests.support.play_rig import play_rig, scene


def wholes(*scenes: str) -> list[Scene]:
    """The scenes with what they inherit."""
    rig = play_rig("".join(scenes))
    return [WholeScenes(rig).whole(each) for each in rig.scenes]


def lines(whole: Scene) -> list[str]:
    """Each line as "name: instrument sound transposition"."""
    return [f"{line.name or '-'}: {line.on} {line.sound or '-'} {line.transpose}" for line in whole.play]


BASE = scene(
    1,
    'cue = "1"',
    'text = "watch"',
    'at = "00:00:10:00"',
    "tempo = 96",
    "transpose = 2",
    'held = "cut"',
    'play = [{ from = "keys", on = "bass", sound = "Upright" }, { name = "top", from = "upper", on = "brass" }]',
    'routes = [{ from = "keys", to = "right" }, { name = "all", from = "upper", to = "right" }]',
    'burst = [{ instrument = "kit", program = 1 }]',
    'enter = [{ on = "bass", send = ["volume 90"] }]',
    'leave = [{ on = "bass", send = ["volume 0"] }]',
)


def test_everything_is_inherited_but_number_cue_name_at_and_text() -> None:
    """A scene that says nothing of its own plays as the one that it is like."""
    base, own = wholes(BASE, scene(2, "like = 1"))
    mine = {"number": 2, "name": "Scene 2", "cue": None, "text": None, "at": None}
    assert own.model_dump() == {**base.model_dump(), **mine}


def test_a_scene_keeps_what_it_says_itself() -> None:
    """Tempo, transposition and held replace the inherited ones, also by their defaults."""
    _, own = wholes(BASE, scene(2, "like = 1", "transpose = 0", 'held = "ring"', "tempo = 120"))
    assert (own.transpose, own.held, own.tempo) == (0, "ring", 120.0)


def test_a_line_with_a_name_replaces_the_one_of_that_name_in_its_place() -> None:
    """The whole line is replaced: what the new one does not say is not inherited. A route gives way to it, too."""
    _, own = wholes(BASE, scene(2, "like = 1", 'play = [{ name = "top", from = "keys", on = "brass", transpose = 3 }]'))
    assert lines(own) == ["-: bass Upright 0", "top: brass - 3"]
    _, own = wholes(BASE, scene(2, "like = 1", 'play = [{ name = "all", from = "keys", on = "kit" }]'))
    assert lines(own) == ["-: bass Upright 0", "top: brass - 0", "all: kit - 0"]
    assert [route.name for route in own.routes] == [None]


def test_a_line_without_a_name_replaces_the_only_one_with_the_same_ends() -> None:
    """With other ends it is added; where two inherited ones have the same ends, it is added, too."""
    _, own = wholes(BASE, scene(2, "like = 1", 'play = [{ from = "keys", on = "bass", transpose = 5 }]'))
    assert lines(own) == ["-: bass - 5", "top: brass - 0"]
    _, own = wholes(BASE, scene(2, "like = 1", 'play = [{ from = "upper", on = "brass" }]'))
    assert lines(own) == ["-: bass Upright 0", "top: brass - 0", "-: brass - 0"]
    split = 'play = [{ from = "keys", on = "bass", notes = "..B3" }, { from = "keys", on = "bass", notes = "C4.." }]'
    _, own = wholes(scene(1, split), scene(2, "like = 1", 'play = [{ from = "keys", on = "bass" }]'))
    assert len(own.play) == 3


def test_two_lines_with_the_ends_of_one_replace_it_once() -> None:
    """The first takes its place, the second is added: a line becomes a split."""
    split = 'play = [{ from = "keys", on = "bass", notes = "..B3" }, { from = "keys", on = "bass", notes = "C4.." }]'
    _, own = wholes(BASE, scene(2, "like = 1", split))
    assert [line.notes for line in own.play if line.on == "bass"] == [(0, 59), (60, 127)]
    assert lines(own)[1] == "top: brass - 0"


def test_a_line_or_route_is_taken_away_by_its_name() -> None:
    """`off = true` with a name takes the inherited line or route away; a later generation may name one so again."""
    off = 'play = [{ name = "top", off = true }, { name = "all", off = true }]'
    again = 'play = [{ name = "top", from = "keys", on = "kit" }]'
    _, own, later = wholes(BASE, scene(2, "like = 1", off), scene(3, "like = 2", again))
    assert lines(own) == ["-: bass Upright 0"]
    assert [route.name for route in own.routes] == [None]
    assert lines(later) == ["-: bass Upright 0", "top: kit - 0"]


def test_routes_follow_the_same_rules_by_their_inputs_and_outputs() -> None:
    """The order of the names in a list does not matter."""
    base = scene(1, 'routes = [{ from = ["keys", "upper"], to = "right" }, { from = "keys", to = "left" }]')
    own = 'routes = [{ from = ["upper", "keys"], to = ["right"], through = [{ filter = "velocity", fixed = 1 }] }]'
    whole = wholes(base, scene(2, "like = 1", own))[1]
    assert [bool(route.through) for route in whole.routes] == [True, False]


def test_enter_and_leave_are_added_after_the_inherited_ones() -> None:
    """Over three generations they come in the order of the generations."""
    own = 'enter = [{ on = "bass", send = ["pan 64"] }]'
    last = wholes(BASE, scene(2, "like = 1", own), scene(3, "like = 2", own.replace("pan 64", "pan 0")))[2]
    assert [each.send for each in last.enter] == [("volume 90",), ("pan 64",), ("pan 0",)]
    assert [each.send for each in last.leave] == [("volume 0",)]


def sounds(*scenes: str) -> list[tuple[str | None, str | int | None]]:
    """The burst of the last scene: each instrument with its sound or program."""
    rig = play_rig("".join(scenes))
    burst = Lowering(rig).lowered(rig.scenes[-1]).burst
    return [(step.instrument, step.sound or step.program) for step in burst]


def test_burst_steps_and_sounds_of_lines_replace_each_other_by_instrument() -> None:
    """Whatever chose an inherited sound, a step or a line of a later generation wins on its channel."""
    assert sounds(BASE) == [("kit", 1), ("bass", "Upright")]
    step = 'burst = [{ instrument = "bass", program = 9 }]'
    assert sounds(BASE, scene(2, "like = 1", step)) == [("kit", 1), ("bass", 9)]
    line = 'play = [{ from = "upper", on = "kit", sound = "Room" }]'
    kit = BASE.replace('{ instrument = "kit", program = 1 }', '{ output = "right", channel = 10, program = 1 }')
    gear = "\n[instruments.kit.sounds]\nRoom = { program = 9 }\n"
    assert sounds(gear, kit, scene(2, "like = 1", line)) == [("bass", "Upright"), ("kit", "Room")]


def test_the_sound_of_a_new_line_silences_those_of_inherited_lines_on_its_instrument() -> None:
    """Also where an inherited line comes later in the scene."""
    two = (
        'play = [{ name = "a", from = "keys", on = "brass", sound = "Section" },'
        ' { name = "b", from = "upper", on = "brass", sound = "Section" }]'
    )
    own = 'play = [{ name = "a", from = "keys", on = "brass", sound = "Muted" }]'
    assert sounds(scene(1, two), scene(2, "like = 1", own)) == [("brass", "Muted")]


def test_a_blank_step_takes_an_inherited_sound_away() -> None:
    """It sends nothing, in the place of what was inherited."""
    assert sounds(BASE, scene(2, "like = 1", 'burst = [{ instrument = "bass" }]')) == [("kit", 1)]


def test_a_scene_may_be_like_a_later_one_by_name() -> None:
    """The order in the file does not matter, and a name serves as well as a number."""
    first, _ = wholes(scene(2, 'like = "Scene 1"'), BASE)
    assert lines(first) == ["-: bass Upright 0", "top: brass - 0"]


def test_a_thousand_generations() -> None:
    """Each scene is like the one before, and adds a line of its own."""
    rig = play_rig(BASE + "".join(scene(n, f"like = {n - 1}", f"tempo = {20 + n % 200}") for n in range(2, 1001)))
    found = WholeScenes(rig).whole(rig.scenes[-1])
    assert (len(found.play), found.tempo) == (2, 20.0)
