"""A small rig of format 2 whose scenes tests write out: two keyboards, a bass, brass and drums on two outputs."""

from engine.core.engine import Engine
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import engine_of, recall

GEAR = """format = 2

[inputs]
keys = { port = "Stage piano*" }
upper = { port = "Organ*" }

[outputs]
left = { port = "Box*1" }
right = { port = "Box*2" }

[instruments.bass]
output = "left"
channel = 2
sounds = { Upright = { program = 33 }, Fretless = { send = ["F0 7D 01 F7", "volume 90"], settle = "80 ms" } }

[instruments.brass]
output = "left"
channel = 3
sounds = { Section = { program = 62 }, Muted = { program = 60 } }

[instruments.kit]
output = "right"
channel = 10
drums = true
"""


def play_rig(scenes: str, gear: str = GEAR) -> Rig:
    """The rig with these scenes."""
    return read(gear + scenes, "pit.toml")


def scene(number: int, *keys: str) -> str:
    """A scene in TOML: its number, and its other keys as they are written."""
    return "\n".join(("", "[[scenes]]", f"number = {number}", f'name = "Scene {number}"', *keys, ""))


def playing(scenes: str, gear: str = GEAR) -> Engine:
    """An engine with the rig of these scenes, the first one recalled."""
    rig = play_rig(scenes, gear)
    engine = engine_of(rig)
    recall(engine, 0, rig.scenes[0].number)
    return engine


def heard(engine: Engine, message: str, source: str = "keys", now: int = 1_000_000_000) -> list[str]:
    """What a message of an input becomes at once, each as "OUTPUT: 90 3C 40"."""
    out = engine.receive(now, engine.inputs.index(source), bytes.fromhex(message))
    return [f"{engine.outputs[output]}: {sent.hex(' ').upper()}" for output, sent, _ in out]
