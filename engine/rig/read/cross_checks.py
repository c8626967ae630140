"""Checks that compare two places of a rig file: names that lead nowhere, numbers given twice.

They read the raw data, not the models, so that their findings are listed together with all other mistakes. A value of
the wrong kind is passed over here; the models complain about it.
"""

from collections.abc import Collection, Iterable, Iterator

from engine.midi.key_messages import key_name
from engine.rig.models.formats import too_new
from engine.rig.models.references import references
from engine.rig.models.rig import Rig, rig_model
from engine.rig.read.chain_checks import check_chains
from engine.rig.read.mpe_zones import check_zones
from engine.rig.read.network_checks import check_network
from engine.rig.read.player_checks import check_players
from engine.rig.read.raw_data import Complaint, Data, Keys, as_written, names, no_such, refer, table, tables
from engine.rig.read.scene_checks import check_scenes
from engine.rig.read.spare_checks import check_spares
from filters.registry import registry


def cross_check(data: Data, *, lists: bool = True) -> Iterator[Complaint]:
    """All mistakes between places of the file; `lists`: whether the sounds include those of sound lists."""
    yield from _once(_everything(data, lists))


def _everything(data: Data, lists: bool) -> Iterator[Complaint]:
    yield from _formats(data)
    yield from _references(data)
    yield from _port_names(data)
    yield from _ports_once(data, "inputs")
    yield from _ports_once(data, "outputs")
    yield from _instruments(data)
    yield from _route_names(data)
    yield from _scenes_once(data)
    yield from _named_once(data, "setlists", "set list")
    yield from _named_once(data, "songs", "song")
    yield from _named_once(data, "players", "player")
    yield from _names_like_numbers(data)
    yield from _bursts(data, lists)
    yield from _controls(data)
    yield from _keyboards(data)
    yield from _clock_outputs(data)
    yield from check_chains(data)
    yield from check_spares(data)
    yield from check_zones(data)
    yield from check_scenes(data, lists)
    yield from check_players(data)
    yield from check_network(data)


def _once(complaints: Iterable[Complaint]) -> Iterator[Complaint]:
    """Without the repetitions of complaints that are reported at their first place only."""
    seen = set()
    for complaint in complaints:
        if not (complaint.once and complaint.text in seen):
            yield complaint
        seen.add(complaint.text)


def _formats(data: Data) -> Iterator[Complaint]:
    for keys, since in too_new(data, rig_model()):
        what = "filter" if keys[-1] == "filter" else "value" if since.concerns else "key"
        yield Complaint(
            keys, f"this {what} needs format = {since.format} in the first line of the file; it says {data['format']}"
        )


def _references(data: Data) -> Iterator[Complaint]:
    """Names that lead nowhere; `refer` also says when a whole section is missing."""
    known: dict[str, Collection[object]] = {
        "routes": {
            route[key] for _, route in _all_routes(data) for key in ("name", "group") if isinstance(route.get(key), str)
        },
        "scenes": _known_scenes(data),
        "songs": [each["name"] for _, each in tables(data, "songs") if isinstance(each.get("name"), str)],
        "set lists": [each["name"] for _, each in tables(data, "setlists") if isinstance(each.get("name"), str)],
        "players": [each["name"] for _, each in tables(data, "players") if isinstance(each.get("name"), str)],
        "machines": table(table(data, "network"), "machines"),
    }
    for keys, mark, name in references(data, Rig):
        also = f', or "{mark.word}"' if mark.word else ""
        if mark.section == "chains" and name in registry() and name not in table(data, "chains"):
            yield Complaint(keys, f'there is no chain "{name}"; for the filter write {{ filter = "{name}" }}')
        elif mark.section not in known:
            found = refer(data, mark.section, str(name), keys)
            yield from (complaint._replace(text=complaint.text + also) for complaint in found)
        elif name not in known[mark.section] and (known[mark.section] or mark.section not in ("scenes", "machines")):
            yield Complaint(keys, no_such(mark.section.removesuffix("s"), name, known[mark.section]) + also)


# Ports and instruments


def _port_names(data: Data) -> Iterator[Complaint]:
    for section in ("inputs", "outputs", "instruments"):
        for name in table(data, section):
            if not name.strip() or "/" in name or "\\" in name or not name.isprintable():
                text = f'found "{name}"; allowed: a non-empty name without slashes or control characters'
                yield Complaint((section, name), text)


def _ports_once(data: Data, section: str) -> Iterator[Complaint]:
    taken: dict[tuple[str | None, str, str], str] = {}
    for name, port in table(data, section).items():
        for kind in ("port", "device", "keyboard"):
            where = port.get(kind) if isinstance(port, dict) else None
            if not isinstance(where, str):
                continue
            other = taken.setdefault((_home(data, port), kind, where), name)
            if other != name:
                text = f'"{name}" and "{other}" are the same {kind} "{where}"; keep one of the two names'
                yield Complaint((section, name, kind), text)


def _home(data: Data, port: Data) -> str | None:
    """The machine that a port is plugged into, if known."""
    home = port.get("machine") or table(data, "network").get("main")
    return home if isinstance(home, str) else None


def _instruments(data: Data) -> Iterator[Complaint]:
    for name, gear in table(data, "instruments").items():
        for sound, settings in table(gear, "sounds").items():
            keys: Keys = ("instruments", name, "sounds", sound)
            yield from _bank_and_program(keys, table({"it": settings}, "it"), gear)


def _bank_and_program(keys: Keys, found: Data, gear: Data) -> Iterator[Complaint]:
    if gear.get("bank") == "none" and "bank" in found:
        text = 'found a bank for an instrument with bank = "none"; leave it out, or set what the instrument responds to'
        yield Complaint((*keys, "bank"), text)
    counts_from = gear.get("programs_from", 1)
    first, last = (0, 127) if counts_from == 0 else (1, 128)
    program = found.get("program")
    if _is_number(program) and program in (0, 128) and not first <= program <= last:
        text = f"found {program}; allowed: {first} to {last}, because programs count from {first} here"
        yield Complaint((*keys, "program"), text)


# Routes


def _all_routes(data: Data) -> Iterator[tuple[Keys, Data]]:
    for index, route in tables(data, "routes"):
        yield ("routes", index), route
    for number, scene in tables(data, "scenes"):
        yield from _own_routes(number, scene)


def _own_routes(number: int, scene: Data) -> Iterator[tuple[Keys, Data]]:
    """A scene's routes and lines, but for those that take an inherited one away."""
    for key in ("routes", "play"):
        for index, route in tables(scene, key):
            if route.get("off") is not True:
                yield ("scenes", number, key, index), route


def _route_names(data: Data) -> Iterator[Complaint]:
    everywhere: set[str] = set()
    for index, route in tables(data, "routes"):
        name = route.get("name")
        if isinstance(name, str) and name in everywhere:
            yield Complaint(("routes", index, "name"), f'a second route named "{name}"; give it another name')
        if isinstance(name, str):
            everywhere.add(name)
    for number, scene in tables(data, "scenes"):
        seen = {*everywhere}
        for keys, route in _own_routes(number, scene):
            name = route.get("name")
            if isinstance(name, str) and name in seen:
                what = "line" if keys[2] == "play" else "route"
                yield Complaint((*keys, "name"), f'a second {what} named "{name}"; give it another name')
            if isinstance(name, str):
                seen.add(name)


# Scenes, and what refers to them


def _scenes_once(data: Data) -> Iterator[Complaint]:
    seen: dict[tuple[str, object], int] = {}
    for index, scene in tables(data, "scenes"):
        for key in ("number", "name"):
            value = scene.get(key)
            if not _is_reference(value):
                continue
            first = seen.setdefault((key, value), index)
            if first != index:
                where = f"scene {first + 1} in the file has it"
                text = f"a second scene with the {key} {as_written(value)} ({where}); choose another"
                yield Complaint(("scenes", index, key), text)


def _named_once(data: Data, section: str, what: str) -> Iterator[Complaint]:
    seen = set()
    for index, each in tables(data, section):
        name = each.get("name")
        if isinstance(name, str) and name in seen:
            yield Complaint((section, index, "name"), f'a second {what} named "{name}"; give it another name')
        seen.add(name if isinstance(name, str) else None)


def _names_like_numbers(data: Data) -> Iterator[Complaint]:
    """Otherwise "12" typed in a shell could mean two scenes."""
    numbers = {str(scene.get("number")): index for index, scene in tables(data, "scenes")}
    for index, scene in tables(data, "scenes"):
        name = scene.get("name")
        if isinstance(name, str) and numbers.get(name, index) != index:
            text = f'the name "{name}" is another scene\'s number (scene {numbers[name] + 1} in the file); change it'
            yield Complaint(("scenes", index, "name"), text)


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_reference(value: object) -> bool:
    return isinstance(value, str) or _is_number(value)


def _known_scenes(data: Data) -> list[object]:
    """All numbers and names; none if a scene lacks one of them, for a reference that misses may be meant for that."""
    scenes = [scene for _, scene in tables(data, "scenes")]
    if not all(_is_number(scene.get("number")) and "name" in scene for scene in scenes):
        return []
    return [scene[key] for key in ("number", "name") for scene in scenes if _is_reference(scene.get(key))]


# Bursts


def _bursts(data: Data, lists: bool) -> Iterator[Complaint]:
    for number, scene in tables(data, "scenes"):
        taken: dict[tuple[object, object], int] = {}
        for index, step in tables(scene, "burst"):
            keys: Keys = ("scenes", number, "burst", index)
            yield from _burst_step(data, keys, step, lists)
            where = _where(data, step)
            if where is not None and taken.setdefault(where, index) != index:
                text = f"a second step for {where[0]} channel {where[1]} in one burst; keep one of the two"
                yield Complaint(keys, text)


def _where(data: Data, step: Data) -> tuple[object, object] | None:
    """Output and channel of a burst step; None if the step is blank, or if they are unknown."""
    if "sound" not in step and "program" not in step:
        return None
    gear = table(table(data, "instruments"), step["instrument"]) if isinstance(step.get("instrument"), str) else step
    output, channel = gear.get("output"), gear.get("channel")
    return (output, channel) if isinstance(output, str) and isinstance(channel, int) else None


def _burst_step(data: Data, keys: Keys, step: Data, lists: bool) -> Iterator[Complaint]:
    name, output, sound = step.get("instrument"), step.get("output"), step.get("sound")
    if isinstance(output, str):
        yield from _bank_and_program(keys, step, {})
    instruments = table(data, "instruments")
    if not isinstance(name, str) or name not in instruments:
        return
    gear = table(instruments, name)
    yield from _bank_and_program(keys, step, gear)
    if not lists and "sounds_from" in gear:
        return
    if isinstance(sound, str) and sound not in table(gear, "sounds"):
        yield Complaint((*keys, "sound"), no_such("sound", sound, table(gear, "sounds")) + f' (sounds of "{name}")')


# Controls


def _controls(data: Data) -> Iterator[Complaint]:
    seen: dict[tuple[object, str], int] = {}
    for index, control in tables(data, "controls"):
        if not table(control, "when"):
            continue
        condition = _condition(control)
        first = seen.setdefault((str(control.get("input")), repr(sorted(condition.items()))), index)
        if first != index:
            text = f"control {first + 1} already has this condition on the same input; keep one of the two"
            yield Complaint(("controls", index, "when"), text)


def _condition(control: Data) -> Data:
    """The condition of a control with its defaults, so that equal ones look alike however they are written."""
    condition = {**table(control, "when"), **{key: control.get(key) for key in ("scenes", "songs", "players")}}
    if "controller" in condition and not {"at_least", "at_most", "turn"} & condition.keys():
        condition["at_least"] = 64
    if isinstance(condition.get("key"), int):
        condition["key"] = key_name(condition["key"])
    if {"controller", "note", "key"} & condition.keys() and "turn" not in condition:
        condition.setdefault("press", "short")  # the default, which counts at once if there is no other kind of press
    for key in ("note", "program", "song"):
        if isinstance(condition.get(key), int):
            condition[key] = [condition[key]] * 2  # a range of one
    if isinstance(condition.get("sysex"), str):
        condition["sysex"] = "".join(condition["sysex"].split()).upper()
    return condition


# Keyboards


def _keyboards(data: Data) -> Iterator[Complaint]:
    """The keys of keyboards serve controls, and nothing else does."""
    inputs = table(data, "inputs")
    boards = [name for name, port in inputs.items() if isinstance(port, dict) and "keyboard" in port]
    for found in references(data, Rig) if boards else ():
        if found.mark.section == "inputs" and found.name in boards and found.keys[0] not in ("controls", "players"):
            yield Complaint(
                found.keys, f'"{found.name}" is a keyboard: its keys serve controls only; leave it out here'
            )
    for index, control in tables(data, "controls"):
        source, when = control.get("input"), table(control, "when")
        if isinstance(source, str) and source in inputs and when and ("key" in when) != (source in boards):
            place: Keys = ("controls", index, "when")
            if "key" in when:
                yield Complaint((*place, "key"), f'"{source}" is not a keyboard; only an input with keyboard has keys')
            else:
                yield Complaint(place, f'"{source}" is a keyboard; write when = {{ key = "PageDown" }}')


# Clock


def _clock_outputs(data: Data) -> Iterator[Complaint]:
    """Offset and transport are for outputs that get the clock."""
    clock, outputs = table(table(data, "sync"), "clock"), table(data, "outputs")
    to = [name for _, name in names(clock.get("to"), ())]
    place: Keys = ("sync", "clock")
    listed = [((*place, "offset", name), name) for name in table(clock, "offset")]
    listed += [each for each in names(clock.get("transport"), (*place, "transport")) if each[1] in outputs]
    for keys, name in listed:
        if name not in to:
            yield Complaint(keys, f'"{name}" does not get the clock; add it to the list `to` of [sync.clock]')
