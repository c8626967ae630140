"""The rig of a stage that is to be broken, and a plug-in filter that breaks by itself."""

from pathlib import Path
from typing import Any

Sounds = dict[int, tuple[int, int, int]]  # channel (0 to 15) -> MSB, LSB, program


def sounds_of(edit: int, scene: int) -> tuple[Sounds, Sounds]:
    """The sounds of the first and the second box in a scene, in an edition of the rig."""
    low, program = 10 * edit % 100 + scene, (20 * edit + 3 * scene) % 100
    one = {0: (scene, low, program), 1: (0, low, program + 7)}
    return one, {0: (1, low, program + 14), 2: (2, scene, program + 21)}


KEPT = '{ filter = "strip", kinds = ["program", "controller 0", "controller 32"] }'
FAULTY = 6  # the scene that the plug-in plays in
#: number -> routes; the player's own programs are blocked, so that the sound of each channel comes from the scene
SCENES = {
    1: (("piano", '"one", "two"', ""), ("organ", '"one"', "")),
    2: (
        ("piano", '"one"', '{ filter = "transpose", semitones = -12 }'),
        ("organ", '"two"', '{ filter = "zone", notes = [0, 72] }, { filter = "channels", map = { 2 = 3, 4 = 3 } }'),
    ),
    3: (("organ", '"two"', ""),),
    4: (
        ("piano", '"two"', '{ filter = "velocity", range = [40, 100] }'),
        ("piano", '"one"', ""),
        ("organ", '"one"', ""),
    ),
    5: (),
}
PLUGGED_IN = {**SCENES, FAULTY: (("piano", '"one"', '{ filter = "brittle" }'), ("organ", '"two"', ""))}


PLAYERS = {"piano": "Stage piano {}", "organ": "Organ {}", "foot": "Foot controller {}"}
BOXES = ("Box {}-1", "Box {}-2")
PORTS = """
[outputs]
one = {{ port = "Box {number}-1*" }}
two = {{ port = "Box {number}-2*", wire = "din" }}
[instruments.lead]
output = "one"
channel = 1
bank = "msb lsb"
settle = "20 ms"
[[routes]]
from = "foot"
to = ["one", "two"]
[[controls]]
input = "foot"
when = {{ program = "any" }}
do = "scene"
[[controls]]
input = "foot"
when = {{ note = 36 }}
do = "panic"
"""


def rig(number: int, edit: int = 0, scenes: dict[int, Any] = PLUGGED_IN) -> str:
    """The rig of one stage; each edit has other sounds."""
    inputs = [f'{name} = {{ port = "{of.format(number)}*" }}' for name, of in PLAYERS.items()]
    head = ["format = 1", "[rig]", f'name = "Lantern Street, edition {edit}"', "[inputs]", *inputs]
    listed = [_scene(scene, routes, edit) for scene, routes in scenes.items()]
    return "\n".join([*head, PORTS.format(number=number), *listed])


def _scene(number: int, routes: Any, edit: int) -> str:
    one, two = sounds_of(edit, number)
    lead = one.pop(0)
    steps = [f'instrument = "lead", {_sound(lead)}']
    steps += [f'output = "one", channel = {channel + 1}, {_sound(sound)}' for channel, sound in one.items()]
    steps += [f'output = "two", channel = {channel + 1}, {_sound(sound)}' for channel, sound in two.items()]
    lines = [f'[[scenes]]\nnumber = {number}\nname = "Scene {number}"\nroutes = [']
    for source, to, through in routes:
        chain = ", ".join(filter(None, (KEPT, through)))
        lines += [f'  {{ from = "{source}", to = [{to}], through = [ {chain} ] }},']
    return "\n".join([*lines, "]", "burst = [", *(f"  {{ {step} }}," for step in steps), "]\n"])


def _sound(sound: tuple[int, int, int]) -> str:
    return f"bank = [{sound[0]}, {sound[1]}], program = {sound[2] + 1}"


#: a filter from a package of its own: it shifts notes up an octave and often raises, at presses and at releases
BRITTLE = '''"""Notes an octave up, or nothing but trouble."""

from itertools import count
from typing import Literal

from filters.registry import FilterSettings, Step

KEEPS_STATE = True


class Settings(FilterSettings):
    """Nothing to set."""

    filter: Literal["brittle"]


def build(settings: Settings) -> Step:
    """A step that raises at every third message."""
    calls = count()

    def brittle(message: bytes, now: int) -> tuple[bytes, ...]:
        if next(calls) % 3 == 0:
            raise RuntimeError("brittle")
        if message[0] & 0xE0 != 0x80 or message[1] > 115:
            return (message,)
        return (bytes((message[0], message[1] + 12, message[2])),)

    return brittle
'''


def install_brittle(folder: Path) -> Path:
    """Install the plug-in as an installer does; returns the folder to put on PYTHONPATH."""
    facts = folder / "bayleaf_brittle-1.0.dist-info"
    facts.mkdir(parents=True)
    (facts / "METADATA").write_text("Metadata-Version: 2.1\nName: bayleaf-brittle\nVersion: 1.0\n", encoding="utf-8")
    (facts / "entry_points.txt").write_text("[bayleaf.filters]\nbrittle = bayleaf_brittle\n", encoding="utf-8")
    (folder / "bayleaf_brittle.py").write_text(BRITTLE, encoding="utf-8")
    return folder
