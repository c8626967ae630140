"""MPE zones of inputs and instruments, through the whole engine: set up, played, announced, over scene changes."""

import pytest

from engine.midi.message_words import from_hex
from tests.support.check_values import check_value
from tests.support.mpe_port import MpePort
from tests.support.pit_engine import MS
from tests.support.played_engine import PlayedEngine

CENT = 0.01
GRID, KEYS = 0, 1
WIDE, BOX = 0, 1

RIG = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, 8] } }
keys = { port = "b" }
[outputs]
synth = { port = "c" }
box = { port = "d" }
[instruments.wide]
output = "synth"
mpe = { members = [2, 15], bend = 24 }
sounds = { "Glass" = { program = 5 } }
[instruments.plain]
output = "box"
channel = 3
setup = ["pitch bend range 12"]
[[scenes]]
number = 1
name = "Zone"
play = [{ from = "grid", on = "wide", sound = "Glass" }]
[[scenes]]
number = 2
name = "Channel"
play = [{ from = "grid", on = "plain" }]
[[scenes]]
number = 3
name = "Keyboard"
play = [{ from = ["keys"], on = "wide" }, { from = "grid", on = "wide", notes = "C5.." }]
[[scenes]]
number = 4
name = "Silence"
[[scenes]]
number = 6
name = "Highest"
play = [{ from = "grid", on = "plain", through = [
  { filter = "mpe", from = { members = [2, 8] }, to = { channel = 1, bend = 12 }, note = "highest" },
] }]
[[scenes]]
number = 7
name = "As it comes"
routes = [{ from = "grid", to = "box" }]
[[scenes]]
number = 5
name = "Split"
play = [
  { from = "grid", on = "wide", notes = "..B3", transpose = 12 },
  { from = "grid", on = "plain", notes = "C4..", transpose = -12 },
]
"""


class Stage:
    """The rig, and a module with MPE at each output, which has been set up."""

    def __init__(self, scene: int = 1, rig: str = RIG) -> None:
        self.engine = PlayedEngine(rig, scene)
        self.modules = [MpePort(), MpePort()]
        self._heard = 0
        self.listen()

    def play(self, source: int, *messages: str) -> None:
        for message in messages:
            self.engine.play(source, from_hex(message))
        self.listen()

    def listen(self) -> None:
        for _, (output, message, _) in self.engine.handed[self._heard :]:
            self.modules[output].hear(message)
        self._heard = len(self.engine.handed)

    def recall(self, scene: int) -> None:
        self.engine.recall(scene)
        self.engine.wait(20 * MS)
        self.listen()

    def pitches(self, output: int) -> list[float]:
        return self.modules[output].pitches()

    def since(self, output: int) -> list[bytes]:
        """What an output was sent since the last time that anybody listened."""
        return [message for _, (to, message, _) in self.engine.handed[self._heard :] if to == output]


def test_an_instrument_gets_its_zone_at_set_up() -> None:
    """The configuration message goes to the manager, the bend range to each member."""
    stage = Stage()
    assert stage.modules[WIDE].zones == {1: (2, 15)}
    assert stage.modules[WIDE].ranges(1) == {1: 2} | dict.fromkeys(range(2, 16), 24)


def test_a_zone_plays_a_zone_of_another_range() -> None:
    """48 semitones of the input's bend are 24 of the instrument's; the sound goes to the manager."""
    stage = Stage()
    assert [message for _, message, _ in stage.engine.heard(WIDE) if message[0] < 0xE0 and message[0] >= 0xC0] == [
        bytes((0xC0, 4))
    ]
    stage.play(GRID, "E2 55 42", "92 3C 40")  # +2 semitones at 48
    assert stage.pitches(WIDE) == pytest.approx([62], abs=CENT)
    stage.play(GRID, "E2 00 40", "E0 7F 7F")
    assert stage.pitches(WIDE) == pytest.approx([62], abs=CENT), "the manager's bend"
    assert stage.modules[WIDE].refused == []


WIDER = RIG.replace("bend = 24 }", "bend = 24, manager_bend = 12 }")


@pytest.mark.parametrize(
    "rig", [WIDER, RIG.replace("bend = 24 }", 'bend = 24 }\nsetup = ["pitch bend range 12"]')], ids=["mpe", "setup"]
)
def test_the_managers_bend_has_a_range_of_its_own(rig: str) -> None:
    """It is sent at set-up, and what the controller's manager bends, 2 semitones at the most, is scaled to it; so is
    what a controller announces by itself."""
    stage = Stage(rig=rig)
    assert stage.modules[WIDE].ranges(1) == {1: 12} | dict.fromkeys(range(2, 16), 24)
    stage.play(GRID, "92 3C 40", "E0 00 60")
    assert stage.pitches(WIDE) == pytest.approx([61], abs=CENT)
    stage.play(GRID, "82 3C 40", "B0 65 00", "B0 64 06", "B0 06 07", "B0 65 00", "B0 64 00", "B0 06 05")
    stage.play(GRID, "92 3C 40", "E0 00 60")
    assert stage.pitches(WIDE) == pytest.approx([62.5], abs=CENT)


def test_a_zone_plays_an_ordinary_instrument() -> None:
    """All on its channel; the bend is scaled to the range that its set-up says."""
    stage = Stage(2)
    stage.play(GRID, "E2 55 42", "92 3C 40")
    sent = [message for _, message, _ in stage.engine.heard(BOX)]
    assert {message[0] & 0x0F for message in sent} == {2}
    bend = next(message for message in sent if message[0] == 0xE2)
    assert 12 * ((bend[1] | bend[2] << 7) - 8192) / 8191 == pytest.approx(2, abs=CENT)


def test_an_instrument_may_know_the_pressure_of_each_key() -> None:
    """Then each finger's is that of its key, and not the channel's."""
    by_channel, by_keys = Stage(2), Stage(2, RIG.replace("channel = 3\n", 'channel = 3\npressure = "keys"\n'))
    for stage, wanted in ((by_channel, {"D2 30", "D2 20"}), (by_keys, {"A2 3C 30", "A2 40 20"})):
        stage.play(GRID, "92 3C 40", "D2 30", "93 40 40", "D3 20")
        sent = {message.hex(" ").upper() for _, message, _ in stage.engine.heard(BOX) if message[0] in (0xA2, 0xD2)}
        assert {message for message in sent if not message.endswith("00")} == wanted


def test_a_keyboard_plays_a_zone() -> None:
    """Each key gets a member, and the pressure of a key is that of its member."""
    stage = Stage(3)
    stage.play(KEYS, "95 3C 40", "95 40 40", "A5 40 30", "E5 00 60")
    assert sorted(note.key for note in stage.modules[WIDE].sounding) == [60, 64]
    assert len({note.channel for note in stage.modules[WIDE].sounding}) == 2
    pressed = {note.key: stage.modules[WIDE].pressures[note.channel] for note in stage.modules[WIDE].sounding}
    assert pressed == {60: 0, 64: 0x30}
    assert stage.pitches(WIDE) == pytest.approx([61, 65], abs=CENT)
    assert stage.modules[WIDE].refused == []


def test_a_split_inside_a_zone_transposes() -> None:
    """Each note goes where its key belongs, with its own bend."""
    stage = Stage(5)
    stage.play(GRID, "E2 55 42", "92 30 40", "E3 55 40", "93 48 40")
    assert stage.pitches(WIDE) == pytest.approx([62], abs=CENT)
    assert [note.key for note in stage.modules[BOX].sounding] == [60]


def test_a_held_note_keeps_its_channel_and_its_gesture() -> None:
    """Over a scene change its bend goes on reaching it, and a new note takes another member."""
    stage = Stage()
    stage.play(GRID, "92 3C 40", "E2 55 42")
    (held,) = stage.modules[WIDE].sounding
    stage.recall(3)
    stage.play(GRID, "E2 2B 49")  # +7
    assert stage.modules[WIDE].pitch(held) == pytest.approx(67, abs=CENT)
    stage.play(KEYS, "90 40 40", "E0 00 20")
    others = [note for note in stage.modules[WIDE].sounding if note != held]
    assert [note.key for note in others] == [64]
    assert others[0].channel != held.channel
    assert stage.modules[WIDE].pitch(held) == pytest.approx(67, abs=CENT), "the other player's bend is not its own"
    stage.play(GRID, "82 3C 40")
    assert [note.key for note in stage.modules[WIDE].sounding] == [64]


def test_two_players_share_a_zone() -> None:
    """While members are free, no player's note takes one that sounds for another player."""
    stage = Stage(3)
    stage.play(KEYS, "90 3C 40", "90 3D 40")
    stage.play(GRID, "92 50 40", "93 51 40")
    assert len({note.channel for note in stage.modules[WIDE].sounding}) == 4


def test_a_member_that_another_player_has_bent_is_set_for_the_next_note() -> None:
    """Bend, timbre and pressure come before each note (M1-100-UM v1.1, 2.2), whoever had its member before."""
    stage = Stage(3, RIG.replace("members = [2, 15]", "members = [2, 3]"))
    stage.play(KEYS, "90 3C 40", "90 3E 40", "80 3C 40", "80 3E 40")
    for member in "12":
        stage.play(
            GRID, f"E{member} 00 60", f"B{member} 4A 7F", f"D{member} 30", f"9{member} 54 40", f"8{member} 54 40"
        )
    stage.play(KEYS, "90 3C 40", "90 3E 40")
    assert stage.pitches(WIDE) == [60, 62]
    assert [stage.modules[WIDE].timbres[member] for member in (2, 3)] == [64, 64]
    assert [stage.modules[WIDE].pressures[member] for member in (2, 3)] == [0, 0]
    stage.play(KEYS, "80 3C 40", "80 3E 40")
    stage.play(GRID, "91 54 40")
    assert stage.pitches(WIDE) == pytest.approx([96 + 12], abs=CENT), "the finger is still where it was"


def test_a_ringing_tail_keeps_its_member() -> None:
    """Over a scene change the member that has been silent longest comes next, not the first one."""
    stage = Stage(3)
    stage.play(KEYS, "90 3C 40", "80 3C 40")
    first = stage.engine.heard(WIDE)[-1][1][0] & 0x0F
    stage.engine.wait(2_000 * MS)
    stage.recall(4)
    stage.recall(3)
    stage.play(KEYS, "90 3D 40")
    assert stage.modules[WIDE].sounding[0].channel - 1 != first


def test_the_wheel_is_where_it_is_after_a_scene_change() -> None:
    """A keyboard's bend that was moved in another scene shapes the first note of this one."""
    stage = Stage(4)
    stage.play(KEYS, "E0 00 60")
    stage.recall(3)
    stage.play(KEYS, "90 3C 40")
    assert stage.pitches(WIDE) == pytest.approx([61], abs=CENT)


def test_a_line_with_its_own_filter_is_left_to_it() -> None:
    """The highest note bends the channel, and no second filter changes that."""
    stage = Stage(6)
    stage.play(GRID, "E2 55 42", "92 43 40", "E3 2B 49", "93 3C 40")
    assert stage.modules[BOX].bends[3] == pytest.approx(8192 + 8192 * 2 / 12, abs=2)


def test_a_route_passes_members_as_they_come() -> None:
    """Every message goes on, announcements included."""
    stage = Stage(7)
    played = ["E2 55 42", "92 3C 40", "D2 10", "82 3C 40", *_announces(7, 48)]
    stage.listen()
    for message in played:
        stage.engine.play(GRID, from_hex(message))
    assert stage.since(BOX) == [from_hex(message) for message in played]


def test_everything_that_is_sent_to_a_zone_goes_to_its_manager() -> None:
    """Sounds, and nothing of what the input announces."""
    stage = Stage()
    stage.play(GRID, *_announces(3, 12))
    sent = [message for _, message, _ in stage.engine.heard(WIDE)]
    assert [message for message in sent if message[0] & 0xF0 == 0xC0] == [bytes((0xC0, 4))]
    assert stage.modules[WIDE].zones == {1: (2, 15)}
    assert stage.modules[WIDE].ranges(1)[2] == 24


# Announcements


def _announces(members: int, bend: int | None = None) -> list[str]:
    said = ["B0 65 00", "B0 64 06", f"B0 06 {members:02X}"]
    return said if bend is None else [*said, "B1 65 00", "B1 64 00", f"B1 06 {bend:02X}"]


@pytest.mark.parametrize("scene", [1, 4])
def test_an_announced_range_is_understood(scene: int) -> None:
    """The input says in a scene, any scene, that its members reach 12 semitones: its bends mean less from then on."""
    stage = Stage(scene)
    stage.play(GRID, *_announces(7, 12))
    stage.recall(1)
    stage.play(GRID, "92 3C 40", "E2 00 60")  # half of the way up
    assert stage.pitches(WIDE) == pytest.approx([66], abs=CENT)


def test_more_members_are_understood() -> None:
    """Members beyond those of the rig are members once they have been announced."""
    stage = Stage(2)
    stage.play(GRID, *_announces(15), "9E 3C 40", "EE 55 42")
    assert {message[0] & 0x0F for _, message, _ in stage.engine.heard(BOX)} == {2}
    assert [note.key for note in stage.modules[BOX].sounding] == [60]


def test_another_zone_ends_what_the_old_one_holds() -> None:
    """A receiver stops notes and resets controllers when a zone changes; so does the router, and it says so."""
    stage = Stage()
    stage.play(GRID, "92 3C 40", "E2 55 42", "D2 30", *_announces(3))
    assert stage.modules[WIDE].at_rest
    assert "another MPE zone" in stage.engine.router.reports.news[-1][1]
    stage.play(GRID, "92 3D 40")
    assert stage.pitches(WIDE) == pytest.approx([61], abs=CENT)


def test_the_same_announcement_again_changes_nothing() -> None:
    """Held notes sound on, and nothing is sent in answer, which could go round in a circle."""
    stage = Stage()
    announced = check_value("mpe-no-echo").input
    stage.play(GRID, *announced, "92 3C 40")
    for message in announced:
        stage.engine.play(GRID, from_hex(message))
    assert stage.since(WIDE) == []
    stage.listen()
    assert stage.pitches(WIDE) == pytest.approx([60], abs=CENT)


def test_an_unplugged_controller_is_as_the_rig_says_again() -> None:
    """Another one may be plugged in."""
    stage = Stage()
    stage.play(GRID, *_announces(7, 12))
    stage.engine.lose(GRID)
    stage.play(GRID, "92 3C 40", "E2 55 42")
    assert stage.pitches(WIDE) == pytest.approx([62], abs=CENT)
