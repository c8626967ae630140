"""Values that a scene sends go out only when they change: what comes between counts.

The rule is the project's own (design, "Values and events"); what is at rest is at the values of RP-015.
"""

from engine.core.commands import Panic
from engine.core.engine import Engine
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import apply, command, engine_of, recall
from tests.support.pit_engine import MS, hexed

KEYS = 0
PORTS = """
format = 2
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "d" }
[[routes]]
from = "keys"
to = "strings"
[instruments.lead]
output = "strings"
channel = 1
sounds = { "A" = { program = 21 }, "B" = { send = ["nrpn 5/1 = 2", "controller 70 = 5"] }, "C" = { program = 22 } }
"""


def rig(*scenes: str, ports: str = PORTS) -> Rig:
    """A rig of these scenes, numbered from 1, each the text of what it sends when it comes."""
    listed = "".join(
        f'[[scenes]]\nnumber = {number}\nname = "S{number}"\n{text}\n' for number, text in enumerate(scenes, 1)
    )
    return read(ports + listed, "test")


def enter(*words: str, key: str = "enter") -> str:
    listed = ", ".join(f'"{each}"' for each in words)
    return f'{key} = [ {{ on = "lead", send = [{listed}] }} ]'


def burst(sound: str) -> str:
    return f'burst = [ {{ instrument = "lead", sound = "{sound}" }} ]'


def engine(*scenes: str) -> Engine:
    """An engine in scene 1."""
    made = engine_of(rig(*scenes))
    recall(made, 0, 1)
    return made


def scene(made: Engine, at: float, number: int) -> list[str]:
    return hexed(recall(made, round(at * MS), number))


def play(made: Engine, at: float, *messages: str) -> None:
    for message in messages:
        made.receive(round(at * MS), KEYS, bytes.fromhex(message))


def test_what_a_player_has_moved_since_is_sent_again() -> None:
    """A fader between two scenes counts, also one that went to where the controller is at rest."""
    made = engine(enter("volume 90", "controller 1 = 50"), enter("volume 90", "controller 1 = 50"))
    play(made, 1, "B0 07 10", "B0 01 20", "B0 01 00")
    assert scene(made, 10, 2) == ["B0 07 5A", "B0 01 32"]


def test_what_the_scene_before_leaves_behind_counts() -> None:
    """What it sends when it is left comes first, so the same value of the next scene is sent."""
    left = enter("volume 90", "nrpn 1/8 = 64") + "\n" + enter("volume 20", "nrpn 1/8 = 0", key="leave")
    made = engine(left, enter("volume 90", "nrpn 1/8 = 64"))
    sent = scene(made, 10, 2)
    assert [each for each in sent if each[3:5] in ("07", "06")] == ["B0 07 14", "B0 06 00", "B0 07 5A", "B0 06 40"]


def test_what_a_panic_has_swept_is_sent_again() -> None:
    """A panic sets expression and modulation to rest (RP-015); the next scene that says otherwise sends it."""
    both = enter("expression 60", "controller 1 = 30")
    made = engine(both, both)
    apply(made, 10 * MS, Panic(None))
    assert scene(made, 20, 2) == ["B0 0B 3C", "B0 01 1E"]


def test_a_sound_of_messages_of_its_own_goes_out_only_when_it_changes() -> None:
    """It is sent once; after a program, its own or a player's, it is sent again, and so is the program after it."""
    made = engine(burst("B"), burst("B"), burst("A"))
    assert scene(made, 10, 2) == []
    assert scene(made, 20, 3) == ["C0 14"]
    assert scene(made, 30, 1)[-1] == "B0 46 05"
    assert scene(made, 40, 3) == ["C0 14"]
    scene(made, 50, 1)
    play(made, 51, "C0 03")
    assert scene(made, 60, 2)[-1] == "B0 46 05"


def test_tuning_and_reverb_are_values_though_they_are_sysex() -> None:
    """They are sent with each recall, resend repeats them, and what else a scene has set still counts as set."""
    words = ("volume 90", "scale tuning 0 10 0 0 0 0 0 0 0 0 0 0", "reverb type plate", "master volume 100")
    made = engine(enter(*words), enter(*words))
    sent = scene(made, 10, 2)
    assert [each[:14] for each in sent] == ["F0 7E 7F 08 08", "F0 7F 7F 04 05", "F0 7F 7F 04 01"]
    again = hexed(command(made, 20 * MS, "resend")[1])
    assert [each[:14] for each in again] == ["B0 07 5A", "F0 7E 7F 08 08", "F0 7F 7F 04 05"]
