"""The starter rigs: one made from the connected ports, to be edited by its owner, and ready-made examples."""

import json
from collections.abc import Collection, Mapping, Sequence
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from engine.rig.short_port_names import short_names

_HEAD: Final = """\
# A rig for Bayleaf. The names on the left are yours: change them as you like.
# Check it with: bayleaf check FILE     play it with: bayleaf run FILE

format = 1

[rig]
name  = "My rig"
start = "last"        # the scene that played last; or the number or name of a scene
"""

_NO_PORTS: Final = """
# No MIDI ports were found when this was written. Connect your gear, run `bayleaf ports`, and replace
# the port names here by those it lists; * matches any characters.
"""

_TAIL: Final = """
# The instruments, each with its output, channel and sounds. The burst of a scene, which is the bank selects and
# program changes that it sends when it is recalled, names the sounds.
#
# [instruments.string-machine]
# output  = "{output}"
# channel = 5
# bank    = "msb lsb"         # what it responds to: "none", "msb", "lsb" or "msb lsb"
# settle  = "30 ms"           # pause it needs after a program change
# sounds  = {{ "Warm pad" = {{ bank = [0, 3], program = 12 }} }}

[[scenes]]
number = 1
name   = "Everything to everything"
routes = [
{everything}]

[[scenes]]
number = 2
name   = "Low keys an octave down"
routes = [
{split}]
# burst = [
#   {{ instrument = "string-machine", sound = "Warm pad" }},
#   {{ output = "{output}", channel = 10, program = 1 }},
# ]

# The order of a show, for `next` and `back`:
#
# [[setlists]]
# name   = "Friday"
# scenes = [1, 2]

# A foot switch that recalls scenes by program change:
#
# [[controls]]
# input = "{input}"
# when  = {{ program = "any" }}
# do    = "scene"
"""

_SPLIT: Final = """\
  {{ from = "{source}", to = "{target}", through = [
    {{ filter = "zone", notes = ["C-1", "B3"] }},
    {{ filter = "transpose", semitones = -12 }},
  ] }},
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
    head = _HEAD + ("" if inputs and outputs else _NO_PORTS)
    sections = [_section("inputs", named_inputs, {}), _section("outputs", named_outputs, said)]
    pairs = _pairs(named_inputs, named_outputs, loops)
    tail = _TAIL.format(
        input=next(iter(named_inputs)),
        output=next(iter(named_outputs)),
        everything="".join(f'  {{ from = "{source}", to = [{_listed(to)}] }},\n' for source, to in pairs.items()),
        split="".join(_SPLIT.format(source=source, target=to[0]) for source, to in list(pairs.items())[:1]),
    )
    return head + "".join(sections) + tail


def _pairs(
    inputs: Mapping[str, str], outputs: Mapping[str, str], loops: Collection[tuple[str, str]]
) -> dict[str, list[str]]:
    """Each input with the outputs that are not the same port and do not lead back to it: no port feeds itself."""
    pairs = {
        source: [to for to in outputs if outputs[to] != port and (outputs[to], port) not in loops]
        for source, port in inputs.items()
    }
    return {source: to for source, to in pairs.items() if to}


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _section(title: str, named: Mapping[str, str], said: Mapping[str, str]) -> str:
    width = max(len(name) for name in named)
    lines = [
        f"{name:{width}} = {{ port = {_quoted(port)} }}{f'    # {said[port]}' if port in said else ''}\n"
        for name, port in named.items()
    ]
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
