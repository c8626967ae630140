"""A rig with two players who have scenes of their own, and the rest of the pit."""

from engine.core.command_result import Result
from engine.core.commands import FirstScene, RecallScene, StackCommand
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of

PLAYERS = """format = 2

[inputs]
keys = { port = "Stage piano*" }
anna = { port = "Anna's keys*" }
anna-foot = { port = "Anna's pedals*" }
ben = { port = "Ben's keys*" }

[outputs]
left = { port = "Box*1" }
right = { port = "Box*2" }

[instruments]
bass = { output = "left", channel = 1, sounds = { Upright = { program = 33 }, Fretless = { program = 36 } } }
brass = { output = "left", channel = 2, sounds = { Open = { program = 62 }, Muted = { program = 60 } } }
strings = { output = "right", channel = 3, sounds = { Soft = { program = 49 }, Loud = { program = 50 } } }

[[scenes]]
number = 1
name = "Overture"
play = [{ from = "keys", on = "bass", sound = "Upright" }]

[[scenes]]
number = 2
name = "Street"
play = [{ from = "keys", on = "bass", sound = "Fretless" }]

[[scenes]]
number = 21
name = "Fanfare"
play = [{ from = "anna", on = "brass", sound = "Open" }]

[[scenes]]
number = 22
name = "Lament"
cue = "22.5"
play = [{ from = "anna", on = "brass", sound = "Muted", transpose = 12 }]

[[scenes]]
number = 31
name = "Tremolo"
play = [{ from = "ben", on = "strings", sound = "Soft" }]

[[scenes]]
number = 32
name = "Unison"
play = [{ from = "ben", on = "brass" }]

[[setlists]]
name = "Anna, act 1"
scenes = [21, 22]

[[setlists]]
name = "Pit"
scenes = [1, 2]

[[setlists]]
name = "Ben, act 1"
scenes = [31, 32]

[[players]]
name = "anna"
inputs = ["anna", "anna-foot"]
setlist = "Anna, act 1"

[[players]]
name = "ben"
inputs = ["ben"]
setlist = "Ben, act 1"

[[controls]]
input = "anna-foot"
when = { controller = 80 }
do = "next"

[[controls]]
input = "keys"
when = { controller = 80 }
do = "next"
"""


def players_engine(text: str = PLAYERS) -> Engine:
    """An engine whose players have all recalled the first scenes of their set lists."""
    engine = engine_of(read(text, "pit.toml"))
    for player in engine.state.stacks:
        ask(engine, FirstScene(player=player))
    return engine


def ask(engine: Engine, command: StackCommand, now: int = 0) -> Result:
    """Have a command carried out."""
    return engine.apply(now, command, "test")


def scenes_of(engine: Engine) -> dict[str, int | None]:
    """By player, the number of the scene in force."""
    stacks = engine.state.stacks.items()
    return {name: stack.scene.number if stack.scene is not None else None for name, stack in stacks}


def recall_for(engine: Engine, scene: int | str, player: str = "", now: int = 0) -> Result:
    """Recall a scene for a player."""
    return ask(engine, RecallScene(scene, player=player), now)
