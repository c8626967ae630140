"""`bayleaf check`: checks a rig file, and forecasts what its scenes send and how full its cables get."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from engine.cli.options import Json, RigFile
from engine.cli.output import CommandError, as_json, print_line, print_words, table
from engine.core.cable.program_burst import (
    compile_recall,
    compile_step,
    device_id,
    duration,
    instruments,
    messages_of,
    receiver_at,
    size,
)
from engine.core.cable.speed import pace
from engine.midi.message_words import to_hex
from engine.midi.mpe_configuration import configuration
from engine.midi.setup_words import set_up
from engine.offline.cable_forecast import DENSITY, warnings
from engine.offline.idle_controls import idle_controls
from engine.offline.rig_finding import RigFinding
from engine.offline.shared_bends import shared_bends
from engine.offline.silent_drums import silent_drums
from engine.offline.silent_ways import SilentWays
from engine.offline.sound_conflicts import sound_conflicts
from engine.plurals import counted
from engine.rig.edit.differences import step_in_words
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig, Scene
from engine.rig.read.load import load, places_in

_BURST_KEYS: Final = ("number", "scene", "output", "steps", "bytes", "wire_ms", "ms")
_SOUND_KEYS: Final = ("number", "instrument", "sound", "messages")
_SECTIONS: Final = ("inputs", "outputs", "instruments", "scenes")


def check(
    rig: RigFile,
    density: Annotated[
        int, typer.Option("--density", min=0, help="Messages per second assumed from each input.")
    ] = DENSITY,
    strict: Annotated[bool, typer.Option("--strict", help="Treat every warning as an error.")] = False,
    json: Json = False,
) -> None:
    """Check a rig file, and forecast the load of its cables.

    Shows what each scene's burst costs on each output. A burst is what a scene recall sends to the instruments: bank
    selects and program changes.

    Example: bayleaf check pit.toml
    """
    loaded = load(rig)
    found: dict[str, Any] = {
        "rig": loaded.rig.name,
        "setup": list(_setup(loaded)),
        "sounds": list(_sounds(loaded)),
        "bursts": [burst for scene in loaded.scenes for burst in _bursts(loaded, scene)],
        "density": density,
        "findings": _findings(loaded, rig),
        "warnings": list(warnings(loaded, density)),
    }
    if strict and found["findings"]:
        raise CommandError("\n".join(_warning(each) for each in found["findings"]))
    if json:
        as_json(found)
        return
    print_line(f"{rig} is valid: " + ", ".join(counted(len(getattr(loaded, key)), key[:-1]) for key in _SECTIONS))
    _print_tables(found)
    for each in found["findings"]:
        print_words(_warning(each))
    for text in found["warnings"]:
        print_words(f"note: {text}")
    print_words(f"Next, play it: {_next(loaded, rig)}")


def _next(loaded: Rig, file: Path) -> str:
    """The command that plays this rig on this machine."""
    network = loaded.network
    return f"bayleaf {'lend' if network is not None and network.machine not in network.engines else 'run'} {file}"


def _findings(loaded: Rig, file: Path) -> list[dict[str, Any]]:
    """What nobody can hear, and sounds that cannot all be meant so, in the order of the files."""
    found = [
        *SilentWays(loaded).findings(),
        *sound_conflicts(loaded),
        *silent_drums(loaded),
        *shared_bends(loaded),
        *idle_controls(loaded),
    ]
    if not found:
        return []
    places = places_in(file)
    first: dict[tuple[object, ...], RigFinding] = {}
    for each in found:  # once, with the first of the scenes that inherit it
        first.setdefault((each.keys, each.text), each)
    rows = sorted(((*places.place(each.keys), each) for each in first.values()), key=lambda row: row[:3])
    return [
        {"file": source, "line": line, "scene": each.scene.number if each.scene else None, "text": str(each)}
        for _, source, line, each in rows
    ]


def _warning(finding: dict[str, Any]) -> str:
    return f"{finding['file']}:{finding['line']}: warning: {finding['text']}"


def _print_tables(found: dict[str, Any]) -> None:
    bursts = [tuple(burst.values()) for burst in found["bursts"]]
    if bursts:
        table(
            ("no.", "scene", "output", "sounds", "bytes", "on the cable", "ready after"),
            [(*row[:5], *(f"{each:.2f} ms" for each in row[5:])) for row in bursts],
            title="What each scene sends at most, and when its instruments are ready",
        )
    if found["setup"]:
        table(
            ("instrument", "words", "bytes"),
            [(one["instrument"], one["words"], one["messages"]) for one in found["setup"]],
            title="What is sent at the start, and when an output is reconnected",
        )
    sounds = [tuple(sound.values()) for sound in found["sounds"]]
    if sounds:
        table(("no.", "instrument", "sound", "bytes"), sounds, title="The sounds of each scene")


def _setup(rig: Rig) -> Iterator[dict[str, str]]:
    for name, gear in rig.instruments.items():
        if gear.mpe is not None:
            units = configuration(gear.mpe.zone, gear.mpe.bend, gear.mpe.manager_bend)
            messages = tuple(message for unit in units for message in unit)
            yield {"instrument": name, "words": "MPE zone and bend ranges", "messages": _listed(messages)}
        to = receiver_at(gear, device_id(rig))
        for line in gear.setup:
            yield {
                "instrument": name,
                "words": line,
                "messages": _listed(set_up(line, to).messages),
            }


def _sounds(rig: Rig) -> Iterator[dict[str, Any]]:
    lowering = Lowering(rig)
    for scene in rig.scenes:
        for step in lowering.lowered(scene).burst:
            row = (scene.number, *step_in_words(rig, step), _listed(messages_of(compile_step(rig, step)[1])))
            yield dict(zip(_SOUND_KEYS, row, strict=True))


def _bursts(rig: Rig, scene: Scene) -> Iterator[dict[str, Any]]:
    """What a scene sends to each output; times in ms: on the cable, and until the last instrument has settled."""
    names = list(rig.outputs)
    lowered, places = Lowering(rig).lowered(scene), {name: index for index, name in enumerate(names)}
    for index, steps in compile_recall(rig, lowered, places).items():
        speed = pace(rig.outputs[names[index]], None)
        sent = size(steps, speed)
        on_cable = 0.0 if speed is None else round(sent * speed.byte_ns / 1e6, 2)
        ready = round(duration(steps, speed) / 1e6, 2)
        row = (scene.number, scene.name, names[index], instruments(steps), sent, on_cable, ready)
        yield dict(zip(_BURST_KEYS, row, strict=True))


def _listed(messages: Iterable[bytes]) -> str:
    return ", ".join(map(to_hex, messages))
