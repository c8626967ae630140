"""Describes what plays now in the words of the rig file, so that it can be stored as a scene."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final, TypeVar

from engine.core.cable.output_cable import Unit
from engine.core.engine import Engine
from engine.core.routing.channel_places import by_instrument
from engine.midi.controllers import BANK_LSB, BANK_MSB
from engine.midi.kinds import PROGRAM
from engine.midi.message_words import note_range, open_range
from engine.rig.gear_words import sound_of
from engine.rig.lowering.lowered_scene import LoweredRoute, Lowering
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import BurstStep, Instrument, Rig, Route, Scene
from engine.rig.models.scene_lines import PlayLine

_ALL: Final = (0, 127)

Table = dict[str, Any]
_Place = tuple[str, int]  # output, channel 1 to 16
Line = TypeVar("Line", bound=Route | PlayLine)


def in_force(engine: Engine, player: str = "") -> Scene | None:
    """The scene in force for a player, or for the rest of the rig, unless an edit removed it from the rig."""
    now = engine.state.stacks[player].in_force
    return engine.rig.scene(now[0]) if now else None


def played(engine: Engine, over: Scene | None = None, player: str = "") -> Table:
    """What a player, or the rest of the rig, plays now, by the keys of a scene: lines, routes, the sounds as a burst,
    and the transposition.

    What is muted is left out. A line says the present sound of its instrument itself. `over`: see `burst`.
    """
    scene = in_force(engine, player)
    whole = WholeScenes(engine.rig).whole(scene) if scene else None
    steps = burst(engine, over, player)
    lines = [_with_sound(engine.rig, line, steps) for line in _unmuted(engine, whole.play if whole else ())]
    found: Table = {"play": lines, "routes": routes(engine, player), "burst": steps}
    return {**found, "transpose": whole.transpose} if whole is not None and whole.transpose else found


def routes(engine: Engine, player: str = "") -> list[Table]:
    """The routes of the scene in force, inherited ones too, without those that are muted."""
    scene = in_force(engine, player)
    return [line_table(each) for each in _unmuted(engine, WholeScenes(engine.rig).whole(scene).routes if scene else ())]


def _unmuted(engine: Engine, lines: Iterable[Line]) -> list[Line]:
    return [line for line in lines if engine.state.muted.isdisjoint((line.name, line.group))]


def _with_sound(rig: Rig, line: PlayLine, steps: list[Table]) -> Table:
    """A line with the present sound of its instrument, whose step it takes from these."""
    table = line_table(line)
    if line.notes != _ALL:
        table["notes"] = note_range(line.notes, rig.rig.middle_c)
    if line.velocity != _ALL:
        table["velocity"] = open_range(line.velocity)
    own = rig.instruments[str(line.on)].sounds.get(line.sound or "")
    step = next((each for each in steps if each.get("instrument") == line.on and ("sound" in each or own)), None)
    if own is not None and own.send:  # which sound such messages chose cannot be heard from them
        if step is not None:
            steps.remove(step)
        return table
    table.pop("sound", None)
    if step is None or "sound" not in step:
        return table
    steps.remove(step)
    return {**table, "sound": step["sound"]}


def burst(engine: Engine, over: Scene | None = None, player: str = "") -> list[Table]:
    """The bank and program that each channel of each output was last sent, as steps of a burst, but for channels of
    other players.

    The blank steps of the scene it is to be stored `over` keep their places, but for those that have a sound now.
    """
    steps = []
    sounding = set()
    is_own = _own_channels(engine, player)
    for index, output in enumerate(engine.outputs):
        if output in engine.rig.outputs:
            for channel, unit in sorted(_at_home(engine, index).items()):
                if is_own((output, channel + 1)):
                    steps.append(_step(engine.rig, output, channel + 1, unit))
                    sounding.add((output, channel + 1))
    for place, step in enumerate(over.burst if over else ()):
        if step.blank and _gear(engine.rig, step) not in sounding:
            steps.insert(place, step.model_dump(mode="json", exclude_unset=True))
    return steps


def _own_channels(engine: Engine, player: str) -> Callable[[_Place], bool]:
    """Whether a channel is one that this player's scene names, or that no other player's does and its routes reach;
    the rest of the rig has all channels that no player's scene names."""
    named = {name: _named(engine.rig, in_force(engine, name)) for name in engine.state.stacks}
    own, outputs = named.pop(player)
    others = set[_Place]().union(*(places for places, _ in named.values()))
    return lambda place: place in own or (place not in others and (not player or place[0] in outputs))


def _named(rig: Rig, scene: Scene | None) -> tuple[set[_Place], set[str]]:
    """The channels that a scene names in its steps and lines, and the outputs of its routes."""
    if scene is None:
        return set(), set()
    lowered = Lowering(rig).lowered(scene)
    gear = [rig.instruments[line.on] for line in lowered.whole.play if line.on is not None]
    places = {(each.output, each.channel) for each in gear}
    places |= {
        (output, channel) for output, channel in (_gear(rig, step) for step in lowered.burst) if output and channel
    }
    return places, {output for route in lowered.whole.routes for output in route.to}


def _at_home(engine: Engine, output: int) -> dict[int, Unit]:
    """By channel, the sounds of an output; those of instruments on spare channels count as on their own channels."""
    found = {**engine.state.cables[output].sounds}
    places = engine.state.places
    for (at, home), others in engine.state.compiled.spares.items():
        if at == output:
            unit = found.get(places.get((at, home), home))
            for channel in (home, *others):
                found.pop(channel, None)  # a sound that was left behind
            if unit is not None:
                found[home] = unit
    return found


def channels(engine: Engine) -> dict[str, int]:
    """By name, the channel (1 to 16) of each instrument that is on a spare one."""
    return by_instrument(engine.rig, engine.outputs, engine.state.places)


def channel_of(engine: Engine, instrument: str) -> int:
    """The channel (1 to 16) that an instrument of the rig is on."""
    return channels(engine).get(instrument, engine.rig.instruments[instrument].channel)


def sounds(engine: Engine) -> dict[str, str | None]:
    """By instrument, the name of its present sound, None if it has no name. Those never sent a sound are left out."""
    found: dict[str, str | None] = {}
    for name, gear in engine.rig.instruments.items():
        unit = _at_home(engine, engine.outputs.index(gear.output)).get(gear.channel - 1)
        if unit is not None:
            found[name] = sound_of(gear, *_selected(unit))
    return found


def _selected(unit: tuple[bytes, ...]) -> tuple[tuple[int, int] | None, int]:
    """Bank (MSB, LSB) and program (0 to 127) of bank and program messages."""
    banks = {message[1]: message[2] for message in unit if message[0] & 0xF0 != PROGRAM}
    program = next(message[1] for message in unit if message[0] & 0xF0 == PROGRAM)
    return ((banks.get(BANK_MSB, 0), banks.get(BANK_LSB, 0)) if banks else None), program


def with_route(
    engine: Engine, scene: Scene | None, source: str, target: str, on: bool
) -> dict[str, list[Table]] | None:
    """The scene's own routes, and its play lines where they change, by their keys, with an input and an output
    connected, or disconnected in all of them.

    None if that is so already. Raises ValueError with a sentence if the scene itself cannot bring it about.
    """
    own, lowering = scene.routes if scene else (), Lowering(engine.rig)
    of_scene = lowering.lowered(scene).routes if scene else ()
    of_all, joining = (
        [one for one in routes if source in one.source and target in one.to]
        for routes in (engine.rig.routes, (*lowering.routes(engine.rig.routes, "route"), *of_scene))
    )
    if on and joining and not any(engine.state.muted.isdisjoint((route.name, route.group)) for route in joining):
        raise ValueError(f"the route {joining[0].name} from {source} to {target} is muted; unmute it")
    if not on and of_all:
        raise ValueError(
            f"a route of every scene leads from {source} to {target}; mute it or remove it from the rig file"
        )
    if on == bool(joining):
        return None
    tables = [line_table(route) for route in own]
    if on:
        return {"routes": [*tables, {"from": source, "to": target}]}
    assert scene is not None, "without a scene nothing is connected"
    _check_not_inherited(lowering, scene, source, target)
    parted = {"routes": [part for table in tables for part in _without(table, source, target)]}
    lines = [part for line in scene.play for part in _line_without(engine.rig, line, source, target)]
    return {**parted, "play": lines} if len(joining) > len(_joining(own, source, target)) else parted


def _check_not_inherited(lowering: Lowering, scene: Scene, source: str, target: str) -> None:
    """Raise ValueError if a scene is connected so by what it inherits, which it would inherit again."""
    base = lowering.scenes.base(scene)
    if base is not None and _joining(lowering.lowered(base).routes, source, target):
        raise ValueError(
            f"scene {scene.number} is like scene {base.number}, where {source} is connected to {target}; "
            f"disconnect them in scene {base.number}, or mute the line or route here"
        )


def _joining(routes: Sequence[Route] | Sequence[LoweredRoute], source: str, target: str) -> list[object]:
    return [one for one in routes if source in one.source and target in one.to]


def _line_without(rig: Rig, line: PlayLine, source: str, target: str) -> list[Table]:
    """A play line without this input, if its instrument is at this output; its other inputs stay."""
    table = line_table(line)
    if line.on is None or source not in line.source or rig.instruments[line.on].output != target:
        return [table]
    others = [one for one in line.source if one != source]
    return [{**table, "from": others}] if others else []


def _listed(names: Any) -> list[str]:
    return [names] if isinstance(names, str) else list(names)


def _without(table: Table, source: str, target: str) -> list[Table]:
    """A route without the connection of one input to one output; its other connections stay."""
    sources, targets = _listed(table["from"]), _listed(table["to"])
    if source not in sources or target not in targets:
        return [table]
    others = [{**table, "from": [one for one in sources if one != source]}] if len(sources) > 1 else []
    rest = [one for one in targets if one != target]
    if rest:
        # a name belongs to one route; the first part keeps it
        own = {**table, "from": [source], "to": rest}
        others.append({key: value for key, value in own.items() if key != "name" or not others})
    return others


def line_table(line: Route | PlayLine) -> Table:
    """A route or a line in the keys of the rig file."""
    return line.model_dump(mode="json", by_alias=True, exclude_unset=True)


def _step(rig: Rig, output: str, channel: int, unit: tuple[bytes, ...]) -> Table:
    bank, program = _selected(unit)
    for name, gear in rig.instruments.items():
        if (gear.output, gear.channel) == (output, channel):
            return _instrument_step(name, gear, bank, program)
    step: Table = {"output": output, "channel": channel, "program": program + 1}
    return step if bank is None else {**step, "bank": list(bank)}


def _gear(rig: Rig, step: BurstStep) -> tuple[str | None, int | None]:
    """The output and channel of a step."""
    gear = step if step.instrument is None else rig.instruments[step.instrument]
    return gear.output, gear.channel


def _instrument_step(name: str, gear: Instrument, bank: tuple[int, int] | None, program: int) -> Table:
    if (sound := sound_of(gear, bank, program)) is not None:
        return {"instrument": name, "sound": sound}
    step: Table = {"instrument": name, "program": program + gear.programs_from}
    return step if bank is None or gear.bank == "none" else {**step, "bank": list(bank)}
