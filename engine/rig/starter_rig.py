"""The starter rigs: one made from the connected ports, to be edited by its owner, and ready-made examples."""

import json
from collections.abc import Collection, Mapping, Sequence
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from engine.rig.short_port_names import short_names

#: words in the names of what is played with the feet: it recalls scenes
_FEET: Final = frozenset(("foot", "footswitch", "pedal", "pedals", "switch", "switches"))

_HEAD: Final = """\
# A rig for Bayleaf. The names on the left are yours: change them as you like.
# Check it with: bayleaf check FILE     play it with: bayleaf run FILE

format = 2

[rig]
name  = "My rig"
start = "last"        # the scene that played last; or the number or name of a scene
"""

_NO_PORTS: Final = """
# No MIDI ports were found when this was written. Connect your gear, run `bayleaf ports`, and replace
# the port names here by those it lists; * matches any characters.
"""

_INSTRUMENTS: Final = """
# One instrument for each output. Channel 1 is a guess: write the channel that it is set to, and the sounds
# that you play, as in this example:
# bank    = "msb lsb"         # what it responds to: "none", "msb", "lsb" or "msb lsb"
# settle  = "30 ms"           # the pause it needs after a program change
# sounds  = { "Warm pad" = { bank = [0, 3], program = 12 } }
"""

_INSTRUMENT: Final = """
[instruments.{name}]
{said}output  = "{name}"
channel = 1                   # a guess
"""

_SCENES: Final = """
# Who plays what: each line says which input plays which instrument, and may say `sound = "Warm pad"`.

[[scenes]]
number = 1
name   = "Everything plays everything"
play = [
{everything}]

[[scenes]]
number = 2
name   = "Split, the low keys an octave down"
play = [
{split}]

# The order of a show, for `next` and `back`:
#
# [[setlists]]
# name   = "Friday"
# scenes = [1, 2]
"""

_SPLIT: Final = """\
  {{ from = "{source}", on = "{low}", notes = "..B3", transpose = -12 }},
  {{ from = "{source}", on = "{high}", notes = "C4.." }},
"""

_CONTROL: Final = """
# {source}: a program change recalls the scene of that number.

[[controls]]
input = "{source}"
when  = {{ program = "any" }}
do    = "scene"
"""

_NO_CONTROL: Final = """
# A foot switch that recalls scenes by program change:
#
# [[controls]]
# input = "{source}"
# when  = {{ program = "any" }}
# do    = "scene"
"""


#: the rig that the page starts with where there is none
EMPTY: Final = """\
format = 2

[rig]
name = "New rig"

[[scenes]]
number = 1
name = "Scene 1"
"""

#: ready-made rigs by kind, and their files in presets
KINDS: Final = {
    "two-keyboards": "rigs/two-keyboards.toml",
    "studio": "rigs/studio.toml",
    "theatre-pit": "demo.toml",
    "drum-triggers": "rigs/drum-triggers.toml",
}


def starter_of(kind: str) -> str:
    """The text of a ready-made rig, one of KINDS; it loads as it is. Raises KeyError for any other."""
    return files("presets").joinpath(KINDS[kind]).read_text(encoding="utf-8")


def starter(
    inputs: Sequence[str],
    outputs: Sequence[str],
    said: Mapping[str, str] = MappingProxyType({}),
    loops: Collection[tuple[str, str]] = (),
) -> str:
    """The text of a rig with these ports of the system; it loads as it is.

    Port names must not contain what the driver changes at each replug; equal ones get a number. `said`: by output
    port, what is known of the device there; `loops`: outputs and the inputs that their cables lead back to.
    """
    named_inputs = _named(inputs) or {"keys": "Stage piano*"}
    named_outputs = _named(outputs) or {"strings": "String machine*"}
    feet = [name for name in named_inputs if _FEET & {*name.split("-")}]
    players = {name: port for name, port in named_inputs.items() if name not in feet} or named_inputs
    return "".join(
        (
            _HEAD if inputs and outputs else _HEAD + _NO_PORTS,
            _section("inputs", named_inputs),
            _section("outputs", named_outputs),
            _INSTRUMENTS,
            *(_instrument(name, said.get(port)) for name, port in named_outputs.items()),
            _scenes(_players(players, named_outputs, loops)),
            *(_CONTROL.format(source=source) for source in feet),
            _NO_CONTROL.format(source=next(iter(named_inputs))) if not feet else "",
        )
    )


def _instrument(name: str, said: str | None) -> str:
    return _INSTRUMENT.format(name=name, said=f"# {said}\n" if said else "")


def _players(
    inputs: Mapping[str, str], outputs: Mapping[str, str], loops: Collection[tuple[str, str]]
) -> dict[str, list[str]]:
    """Who plays each output: inputs that are not the same port, if there are any, and that it does not lead back to."""

    def found(own_too: bool) -> dict[str, list[str]]:
        pairs = {
            to: [name for name, there in inputs.items() if (own_too or there != port) and (port, there) not in loops]
            for to, port in outputs.items()
        }
        return {to: players for to, players in pairs.items() if players}

    return found(own_too=False) or found(own_too=True)


def _scenes(players: Mapping[str, Sequence[str]]) -> str:
    everything = "".join(f'  {{ from = {_listed(names)}, on = "{to}" }},\n' for to, names in players.items())
    source = next((name for names in players.values() for name in names), None)
    reached = [to for to, names in players.items() if source in names]
    reached.sort(key=lambda to: "bass" not in to)  # the others keep their order
    split = _SPLIT.format(source=source, low=reached[0], high=reached[min(1, len(reached) - 1)]) if reached else ""
    return _SCENES.format(everything=everything, split=split)


def _listed(names: Sequence[str]) -> str:
    """One name, or a list of several."""
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"[{', '.join(quoted)}]"


def _section(title: str, named: Mapping[str, str]) -> str:
    width = max(len(name) for name in named)
    lines = [f"{name:{width}} = {{ port = {_quoted(port)} }}\n" for name, port in named.items()]
    return f"\n[{title}]\n" + "".join(lines)


def _quoted(port: str) -> str:
    """As TOML text, in which one more character must be escaped than in JSON."""
    return json.dumps(port, ensure_ascii=False).replace("\x7f", "\\u007f")


def _named(ports: Sequence[str]) -> dict[str, str]:
    """A short name for each port, and the pattern that finds the port again."""
    there = [port for port in ports if port.strip()]
    return dict(zip(short_names(there), patterns(there), strict=True))


def patterns(ports: Sequence[str]) -> list[str]:
    """What finds each of these ports again: its name, and among equal ones its number."""
    return [
        f"{port} #{ports[: index + 1].count(port)}" if ports.count(port) > 1 else port
        for index, port in enumerate(ports)
    ]
