"""Sounds that cannot all be meant so, and bursts that are too long for their cue. (Our own rules.)"""

from engine.offline.sound_conflicts import sound_conflicts
from engine.rig.read.load import read
from tests.support.play_rig import GEAR, play_rig, scene
from tests.support.players_rig import PLAYERS

SLOW = GEAR.replace("channel = 3", 'channel = 3\nsettle = "300 ms"')


def _said(scenes: str, gear: str = GEAR) -> list[str]:
    return [str(each) for each in sound_conflicts(play_rig(scenes, gear))]


def test_two_sounds_on_one_channel() -> None:
    """Two lines that put one channel on different sounds are reported at the later one; equal sounds are not."""
    line = '{ from = "%s", on = "brass", sound = "%s" }'
    fight = scene(1, f"play = [ {line % ('keys', 'Section')}, {line % ('upper', 'Muted')} ]")
    assert _said(fight) == [
        'scene 1 Scene 1: line 1 puts brass on "Section" and line 2 puts brass on "Muted", but both are one channel; '
        "the later one counts. Take one sound away, or use another channel"
    ]
    assert _said(fight.replace("Muted", "Section")) == []


def test_a_keyboard_that_would_change_a_layer() -> None:
    """Program changes that reach two instruments with sounds are reported, but not if they are stopped or controls."""
    sounds = 'burst = [ { instrument = "bass", program = 1 }, { instrument = "brass", sound = "Muted" } ]'
    route = '{ from = "keys", to = "left", through = [ { filter = "channels", map = { 1 = %d } } ] }'
    layer = scene(1, f"routes = [ {route % 2}, {route % 3} ]", sounds)
    assert _said(layer) == [
        "scene 1 Scene 1: program changes from keys reach bass, brass, and change the sounds of this layer; "
        'stop them: stop = ["program", "bank"] at the input, or play lines in place of routes'
    ]
    stopped = GEAR.replace('port = "Stage piano*"', 'port = "Stage piano*", stop = ["program", "bank"]')
    assert _said(layer, stopped) == []
    control = '\n[[controls]]\ninput = "keys"\nwhen = { program = "any" }\ndo = "scene"\n'
    assert _said(layer + control) == []
    assert _said(scene(1, f"routes = [ {route % 2} ]", sounds)) == []


def test_a_misspelt_sound() -> None:
    """A sound that no scene uses, with nearly the name of one that is used, is reported at its own line."""
    used = scene(1, 'play = [ { from = "keys", on = "brass", sound = "Section" } ]')
    slip = 'scene uses the sound "%s" of brass, but "Section"; is one of the two misspelt?'
    for name in ("Sectoin", "Secttion", "section"):
        gear = GEAR.replace("Section =", f"{name} = {{ program = 9 }}, Section =")
        assert _said(used, gear) == [f"no {slip % name}"]
    for name in ("Sections", "Muted", "Action"):
        gear = GEAR if name == "Muted" else GEAR.replace("Section =", f"{name} = {{ program = 9 }}, Section =")
        assert _said(used, gear) == []


def test_a_burst_that_is_too_long_for_its_cue() -> None:
    """300 ms to settle, and the next cue 4 frames later: at 25 frames per second that is 160 ms."""
    line = 'play = [ { from = "keys", on = "brass", sound = "Section" } ]'
    late = scene(1, 'at = "00:01:00:00"', line) + scene(2, 'at = "00:01:00:04"')
    assert _said(late, SLOW) == [
        "scene 1 Scene 1: its burst on left takes 300 ms, but scene 2 follows after 160 ms by time code; "
        "put the sounds into an earlier scene, or the cues further apart"
    ]
    assert _said(late.replace("00:04", "00:10"), SLOW) == []


def test_two_players_with_different_sounds_on_one_channel() -> None:
    """Their scenes come and go by themselves, so no order of scenes makes it right; it is reported once."""
    fight = PLAYERS.replace('{ from = "ben", on = "brass" }', '{ from = "ben", on = "brass", sound = "Muted" }')
    assert [str(each) for each in sound_conflicts(read(fight, "pit.toml"))] == [
        'scene 32 Unison: line 1 puts brass on "Muted", and scene 21 of anna puts that channel on "Open": the last '
        "recall decides for both. Use another channel"
    ]
    assert [*sound_conflicts(read(PLAYERS, "pit.toml"))] == []
