"""Songs: which is in force, how they transpose, and the step by foot. (Our own design; no outside source.)"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.cluster.pure.replica import show_command, show_place
from engine.core import commands as do
from engine.core.control.setlist import LAST_STEP
from engine.core.engine import Engine
from engine.rig.read.load import RigError, read
from tests.support.engine_calls import adopt, engine_of

PORTS = """format = 2
[inputs]
keys = { port = "a" }
foot = { port = "b" }
[outputs]
box = { port = "c" }
[instruments.horns]
output = "box"
channel = 1
[instruments.kit]
output = "box"
channel = 10
drums = true
[sync.clock]
bpm = 100
"""
PLAY = """play = [ { from = "keys", on = "horns", transpose = 1 }, { from = "keys", on = "kit", transpose = 3 } ]
"""
SCENES = "".join(f'[[scenes]]\nnumber = {number}\nname = "S{number}"\n{PLAY}' for number in range(1, 7))
SONGS = """[[songs]]
name = "Market"
transpose = 2
tempo = 96
scenes = [1, 2]
[[songs]]
name = "Bridge"
scenes = [3, 2]
text = "watch the drummer"
[[songs]]
name = "Harbour"
transpose = -5
scenes = [4, "S5"]
"""
OF_SONGS = """[[setlists]]
name = "Friday"
songs = ["Market", "Bridge", "Harbour"]
"""
RIG = PORTS + SCENES + SONGS + OF_SONGS
NOTE, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))


class Evening:
    """An engine, and the time that goes on."""

    def __init__(self, text: str = RIG) -> None:
        self.engine: Engine = engine_of(read(text, "test"))
        self._now = 0

    def ask(self, command: do.PlayerCommand) -> str:
        self._now += 10**9
        return self.engine.apply(self._now, command, "test").outcome.text

    def press(self, message: bytes = NOTE) -> list[str]:
        self._now += 10**8
        return [sent.hex(" ").upper() for _, sent, _ in self.engine.receive(self._now, 0, message)]

    @property
    def where(self) -> tuple[int, str | None, int]:
        """Scene, song and transposition."""
        state = self.engine.state
        assert state.main.scene is not None
        return state.main.scene.number, state.main.song, state.transposed(state.main)


def test_songs_follow_one_another() -> None:
    """From later scenes `back song` goes to the first of the song, from the first to the song before."""
    show = Evening()
    walk = []
    for command in (do.FirstScene(), do.NextScene(), do.NextSong(), do.NextScene(), do.NextScene(), do.NextScene()):
        show.ask(command)
        walk.append(show.where[:2])
    assert walk == [(1, "Market"), (2, "Market"), (3, "Bridge"), (2, "Bridge"), (4, "Harbour"), (5, "Harbour")]
    assert show.ask(do.NextSong()) == "already in the last song of set list Friday"
    walk = []
    for _ in range(3):
        show.ask(do.PreviousSong())
        walk.append(show.where[:2])
    assert walk == [(4, "Harbour"), (3, "Bridge"), (1, "Market")]
    assert show.ask(do.PreviousSong()) == "already in the first song of set list Friday"


def test_a_song_transposes_play_lines_but_no_drums() -> None:
    """The line's own transposition holds for drums, too."""
    show = Evening()
    show.ask(do.FirstScene())
    assert show.press() == ["90 3F 64", "99 3F 64"]
    assert show.press(OFF) == ["80 3F 40", "89 3F 40"]
    show.ask(do.ChooseSong("Harbour"))
    assert show.press() == ["90 38 64", "99 3F 64"]


def test_a_scene_of_no_song_leaves_the_song_in_force() -> None:
    show = Evening()
    show.ask(do.FirstScene())
    show.ask(do.RecallScene(6))
    assert show.where == (6, "Market", 2)


def test_a_scene_of_one_song_of_the_list_brings_its_song() -> None:
    show = Evening()
    show.ask(do.RecallScene("S5"))
    assert show.where == (5, "Harbour", -5)


def test_in_a_list_of_scenes_a_scene_of_two_songs_changes_no_song() -> None:
    show = Evening(PORTS + SCENES + SONGS)
    found = []
    for number in (1, 2, 3, 2, 6, 4):
        show.ask(do.RecallScene(number))
        found.append(show.where[1])
    assert found == ["Market", "Market", "Bridge", "Bridge", "Bridge", "Harbour"]


def test_a_song_that_is_not_in_the_set_list_can_be_chosen() -> None:
    show = Evening(PORTS + SCENES + SONGS + OF_SONGS.replace(', "Harbour"', ""))
    show.ask(do.FirstScene())
    show.ask(do.ChooseSong("Harbour"))
    assert show.where == (4, "Harbour", -5)
    assert 'there is no song "Harbor"; did you mean "Harbour"?' in show.ask(do.ChooseSong("Harbor"))


def test_the_tempo_of_a_song_is_that_of_its_beginning() -> None:
    """A tempo that was set within the song is not undone by its next scene; a scene's own tempo comes first."""
    show = Evening(RIG.replace('name = "S2"\n', 'name = "S2"\ntempo = 70\n'))
    clock = show.engine.state.sync.clock
    assert clock is not None
    tempos = []
    for command in (
        *(do.FirstScene(), do.NextScene(), do.ControlClock("tempo", 111), do.PreviousScene()),
        *(do.ChooseSong("Bridge"), do.ChooseSong("Market")),
    ):
        show.ask(command)
        tempos.append(clock.bpm)
    assert tempos == [96, 70, 111, 111, 111, 96]


def test_the_step_adds_up_and_goes_back_to_none() -> None:
    show = Evening()
    show.ask(do.FirstScene())
    assert show.ask(do.Transpose(1)) == "transposed by +1 semitone"
    assert show.ask(do.Transpose(1)) == "transposed by +2 semitones"
    show.ask(do.NextSong())
    assert show.where == (3, "Bridge", 2)
    assert show.ask(do.Transpose(-1)) == "transposed by +1 semitone"
    assert show.ask(do.Transpose(0)) == "no longer transposed"
    assert show.ask(do.Transpose(0)) == "not transposed"
    for _ in range(2):
        show.ask(do.Transpose(LAST_STEP))
    assert show.where == (3, "Bridge", LAST_STEP)


def test_a_note_that_sounds_ends_where_it_began() -> None:
    """A step while keys are down cuts nothing, and their releases go to the keys that sound."""
    show = Evening()
    show.ask(do.FirstScene())
    show.press()
    assert show.engine.apply(10**11, do.Transpose(1), "foot").deliveries == []
    assert show.press(bytes((0x90, 64, 100))) == ["90 44 64", "99 43 64"]
    assert show.press(OFF) == ["80 3F 40", "89 3F 40"]
    assert show.press() == ["90 40 64", "99 3F 64"]


def test_a_step_cuts_nothing_even_where_scenes_cut() -> None:
    show = Evening(RIG.replace('name = "S1"\n', 'name = "S1"\nheld = "cut"\n'))
    show.ask(do.FirstScene())
    show.press()
    assert show.engine.apply(10**11, do.Transpose(-1), "foot").deliveries == []


def test_routes_are_not_transposed() -> None:
    """A step is for play lines."""
    show = Evening(RIG.replace(PLAY, 'routes = [ { from = "keys", to = "box" } ]\n'))
    show.ask(do.FirstScene())
    show.ask(do.Transpose(7))
    assert show.press() == ["90 3C 64"]


def test_a_control_belongs_to_a_song() -> None:
    control = '[[controls]]\ninput = "keys"\nwhen = { controller = 80 }\ndo = "next song"\nsongs = ["Market"]\n'
    show = Evening(RIG + control)
    show.ask(do.FirstScene())
    assert show.press(bytes((0xB0, 80, 127))) == []
    assert show.where[1] == "Bridge"
    assert show.press(bytes((0xB0, 80, 0))) == []
    assert show.press(bytes((0xB0, 80, 127))) == ["B0 50 7F", "B9 50 7F"]


@pytest.mark.parametrize(
    ("action", "where"),
    [
        ('"next song"', (3, "Bridge", 0)),
        ('["next", "back song"]', (1, "Market", 2)),
        ('{ song = "Harbour" }', (4, "Harbour", -5)),
        ("{ transpose = 1 }", (1, "Market", 3)),
        ("[{ transpose = -1 }, { transpose = -1 }]", (1, "Market", 0)),
        ("[{ transpose = 1 }, { transpose = 0 }]", (1, "Market", 2)),
    ],
)
def test_actions_of_controls(action: str, where: tuple[int, str, int]) -> None:
    show = Evening(RIG + f'[[controls]]\ninput = "keys"\nwhen = {{ controller = 80 }}\ndo = {action}\n')
    show.ask(do.FirstScene())
    show.press(bytes((0xB0, 80, 127)))
    assert show.where == where


def test_an_edit_of_the_song_in_force_takes_effect_at_once() -> None:
    show = Evening()
    show.ask(do.FirstScene())
    show.press()
    adopt(show.engine, 10**11, read(RIG.replace("transpose = 2", "transpose = 4"), "test"))
    assert show.where == (1, "Market", 4)
    assert show.press(OFF) == ["80 3F 40", "89 3F 40"]
    assert show.press() == ["90 41 64", "99 3F 64"]


def test_a_song_that_an_edit_removes_is_no_longer_in_force() -> None:
    show = Evening()
    show.ask(do.FirstScene())
    show.ask(do.Transpose(1))
    adopt(show.engine, 10**11, read(PORTS + SCENES, "test"))
    assert show.where == (1, None, 1)


def test_an_engine_that_follows_has_the_same_song_and_step() -> None:
    """Also where the scene would bring another song, and where no scene changes."""
    leader, follower = Evening(PORTS + SCENES + SONGS), Evening(PORTS + SCENES + SONGS)
    for command in (do.RecallScene(1), do.RecallScene(2), do.Transpose(1), do.RecallScene(6), do.ChooseSong("Bridge")):
        leader.ask(command)
        word = show_place(leader.engine)
        follower.engine.apply(10**12, show_command(word))
        assert follower.where == leader.where
        assert follower.press() == leader.press()
        assert follower.press(OFF) == leader.press(OFF)


def test_a_show_resumes_with_song_and_step() -> None:
    before = Evening()
    for command in (do.FirstScene(), do.ChooseSong("Bridge"), do.NextScene(), do.Transpose(-1)):
        before.ask(command)
    after, position = Evening(), before.engine.state.main.position
    assert position is not None
    after.engine.apply(0, do.ResumePosition(position))
    after.ask(do.RecallScene(position.scene))
    assert after.where == before.where == (2, "Bridge", -1)


KEYS = st.integers(50, 70)
STEPS = st.lists(
    st.one_of(
        st.builds(do.RecallScene, st.integers(1, 6)),
        st.builds(do.Transpose, st.sampled_from([1, -1, 0])),
        st.builds(do.ChooseSong, st.sampled_from(["Market", "Bridge", "Harbour"])),
        st.sampled_from([do.NextScene(), do.PreviousScene(), do.NextSong(), do.PreviousSong()]),
        KEYS,
    ),
    max_size=40,
)


@given(STEPS)
def test_each_key_sounds_where_it_is_due_and_ends_there(steps: list[do.PlayerCommand | int]) -> None:
    """Independent sum: key, line, song and step as the show says them; each key is pressed and released in turn."""
    show = Evening()
    show.ask(do.RecallScene(1))
    down: dict[int, int] = {}  # key -> what sounds on the horns for it
    for step in steps:
        if not isinstance(step, int):
            show.ask(step)
        elif step in down:
            assert f"80 {down.pop(step):02X} 40" in show.press(bytes((0x80, step, 64)))
        elif step + 1 + show.where[2] not in down.values():  # two keys on one sounding key are another test's
            down[step] = step + 1 + show.where[2]
            assert show.press(bytes((0x90, step, 100))) == [f"90 {down[step]:02X} 64", f"99 {step + 3:02X} 64"]
    for key in down:
        show.press(bytes((0x80, key, 64)))
    assert show.engine.state.ledger.sounding() == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('songs = ["Market"', 'scenes = [1]\nsongs = ["Market"', "a set list takes either scenes or songs"),
        ('songs = ["Market"', 'songs = ["Markt"', 'there is no song "Markt"; did you mean "Market"?'),
        ('name = "Bridge"', 'name = "Market"', 'a second song named "Market"; give it another name'),
        ('[4, "S5"]', '[4, "S9"]', 'there is no scene "S9"'),
        ("tempo = 96", "tempo = 9", "found 9; allowed: 20 to 300 beats per minute"),
        ("format = 2", "format = 1", "this key needs format = 2"),
        ('"watch the drummer"', '"\\u0007"', "allowed: text without control characters"),
    ],
)
def test_a_mistake_is_reported(old: str, new: str, words: str) -> None:
    with pytest.raises(RigError) as caught:
        read(RIG.replace(old, new, 1), "test")
    assert words in str(caught.value)
