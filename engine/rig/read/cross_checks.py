"""What needs two places of a rig file at once: names that lead nowhere, numbers given twice.

These look at the file's data as it was loaded, not at the models, so that they are told together with whatever else is
wrong. A value of the wrong kind is passed over here; the models complain of it.
"""

from collections.abc import Iterable, Iterator

from engine.rig.read.network_checks import check_network
from engine.rig.read.raw_data import Complaint, Data, Keys, as_written, names, no_such, refer, table, tables


def cross_check(data: Data, *, lists: bool = True) -> Iterator[Complaint]:
    """Everything that is wrong between places; `lists`: whether sound lists are among the sounds."""
    yield from _once(_everything(data, lists))


def _everything(data: Data, lists: bool) -> Iterator[Complaint]:
    yield from _port_names(data)
    yield from _ports_once(data, "inputs")
    yield from _ports_once(data, "outputs")
    yield from _instruments(data)
    yield from _routes(data)
    yield from _route_names(data)
    yield from _scenes_once(data)
    yield from _setlists_once(data)
    yield from _names_like_numbers(data)
    yield from _scene_references(data)
    yield from _bursts(data, lists)
    yield from _controls(data)
    yield from _sync(data)
    yield from check_network(data)


def _once(complaints: Iterable[Complaint]) -> Iterator[Complaint]:
    """Without the repetitions of what is told at its first place only."""
    told = set()
    for complaint in complaints:
        if not (complaint.once and complaint.text in told):
            yield complaint
        told.add(complaint.text)


# Ports and instruments


def _port_names(data: Data) -> Iterator[Complaint]:
    for section in ("inputs", "outputs", "instruments"):
        for name in table(data, section):
            if not name.strip() or "/" in name or "\\" in name or not name.isprintable():
                text = f'found "{name}"; allowed: a name that is not empty, without slashes and control characters'
                yield Complaint((section, name), text)


def _ports_once(data: Data, section: str) -> Iterator[Complaint]:
    taken: dict[tuple[str | None, str, str], str] = {}
    for name, port in table(data, section).items():
        for kind in ("port", "device"):
            where = port.get(kind) if isinstance(port, dict) else None
            if not isinstance(where, str):
                continue
            other = taken.setdefault((_home(data, port), kind, where), name)
            if other != name:
                text = f'"{name}" and "{other}" are the same {kind} "{where}"; keep one of the two names'
                yield Complaint((section, name, kind), text)


def _home(data: Data, port: Data) -> str | None:
    """The machine that a port is on, if it can be told."""
    home = port.get("machine") or table(data, "network").get("main")
    return home if isinstance(home, str) else None


def _instruments(data: Data) -> Iterator[Complaint]:
    for name, gear in table(data, "instruments").items():
        output = gear.get("output") if isinstance(gear, dict) else None
        if isinstance(output, str):
            yield from refer(data, "outputs", output, ("instruments", name, "output"))
        for sound, settings in table(gear, "sounds").items():
            keys: Keys = ("instruments", name, "sounds", sound)
            yield from _bank_and_program(keys, table({"it": settings}, "it"), gear)


def _bank_and_program(keys: Keys, found: Data, gear: Data) -> Iterator[Complaint]:
    if gear.get("bank") == "none" and "bank" in found:
        text = 'a bank for an instrument that says bank = "none"; leave it out, or say what the instrument listens to'
        yield Complaint((*keys, "bank"), text)
    counts_from = gear.get("programs_from", 1)
    first, last = (0, 127) if counts_from == 0 else (1, 128)
    program = found.get("program")
    if _is_number(program) and program in (0, 128) and not first <= program <= last:
        text = f"found {program}; allowed: {first} to {last}, since programs count from {first} here"
        yield Complaint((*keys, "program"), text)


# Routes


def _all_routes(data: Data) -> Iterator[tuple[Keys, Data]]:
    for index, route in tables(data, "routes"):
        yield ("routes", index), route
    for number, scene in tables(data, "scenes"):
        for index, route in tables(scene, "routes"):
            yield ("scenes", number, "routes", index), route


def _routes(data: Data) -> Iterator[Complaint]:
    for keys, route in _all_routes(data):
        sources = names(route.get("from"), (*keys, "from"))
        targets = names(route.get("to"), (*keys, "to"))
        for place, name in sources:
            yield from refer(data, "inputs", name, place)
        for place, name in targets:
            yield from refer(data, "outputs", name, place)


def _route_names(data: Data) -> Iterator[Complaint]:
    everywhere = [route.get("name") for _, route in tables(data, "routes")]
    for index, name in enumerate(everywhere):
        if isinstance(name, str) and name in everywhere[:index]:
            yield Complaint(("routes", index, "name"), f'a second route named "{name}"; give it another name')
    for number, scene in tables(data, "scenes"):
        seen = [name for name in everywhere if isinstance(name, str)]
        for index, route in tables(scene, "routes"):
            name = route.get("name")
            if isinstance(name, str) and name in seen:
                place: Keys = ("scenes", number, "routes", index, "name")
                yield Complaint(place, f'a second route named "{name}"; give it another name')
            if isinstance(name, str):
                seen.append(name)


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
                where = f"scene {first + 1} of the file has it"
                text = f"a second scene with the {key} {as_written(value)} ({where}); give it another"
                yield Complaint(("scenes", index, key), text)


def _setlists_once(data: Data) -> Iterator[Complaint]:
    seen = set()
    for index, setlist in tables(data, "setlists"):
        name = setlist.get("name")
        if isinstance(name, str) and name in seen:
            yield Complaint(("setlists", index, "name"), f'a second set list named "{name}"; give it another name')
        seen.add(name if isinstance(name, str) else None)


def _names_like_numbers(data: Data) -> Iterator[Complaint]:
    """ "12" typed in a shell would mean two scenes."""
    numbers = {str(scene.get("number")): index for index, scene in tables(data, "scenes")}
    for index, scene in tables(data, "scenes"):
        name = scene.get("name")
        if isinstance(name, str) and numbers.get(name, index) != index:
            text = f'the name "{name}" is another scene\'s number (scene {numbers[name] + 1} of the file); change it'
            yield Complaint(("scenes", index, "name"), text)


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_reference(value: object) -> bool:
    return isinstance(value, str) or _is_number(value)


def _known_scenes(data: Data) -> list[object]:
    scenes = [scene for _, scene in tables(data, "scenes")]
    return [scene[key] for key in ("number", "name") for scene in scenes if _is_reference(scene.get(key))]


def _can_tell(data: Data) -> bool:
    """Whether there are scenes, each with number and name; if not, a reference that misses may be meant for such."""
    scenes = tables(data, "scenes")
    return bool(scenes) and all(_is_number(scene.get("number")) and "name" in scene for _, scene in scenes)


def _scene_references(data: Data) -> Iterator[Complaint]:
    if not _can_tell(data):
        return
    known = _known_scenes(data)
    start = table(data, "rig").get("start", "last")
    if _is_reference(start) and start != "last" and start not in known:
        yield Complaint(("rig", "start"), no_such("scene", start, known) + ', or "last"')
    for index, setlist in tables(data, "setlists"):
        listed = setlist.get("scenes")
        for place, scene in enumerate(listed if isinstance(listed, list) else []):
            if _is_reference(scene) and scene not in known:
                yield Complaint(("setlists", index, "scenes", place), no_such("scene", scene, known))
    for index, control in tables(data, "controls"):
        scene = control.get("scene")
        if _is_reference(scene) and scene not in known:
            yield Complaint(("controls", index, "scene"), no_such("scene", scene, known))
        listed = control.get("scenes")
        for place, scene in enumerate(listed if isinstance(listed, list) else []):
            if _is_reference(scene) and scene not in known:
                yield Complaint(("controls", index, "scenes", place), no_such("scene", scene, known))


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
    """Output and channel that a step tells a program; None if it is blank or they cannot be told."""
    if "sound" not in step and "program" not in step:
        return None
    gear = table(table(data, "instruments"), step["instrument"]) if isinstance(step.get("instrument"), str) else step
    output, channel = gear.get("output"), gear.get("channel")
    return (output, channel) if isinstance(output, str) and isinstance(channel, int) else None


def _burst_step(data: Data, keys: Keys, step: Data, lists: bool) -> Iterator[Complaint]:
    instruments = table(data, "instruments")
    name, output, sound = step.get("instrument"), step.get("output"), step.get("sound")
    if isinstance(output, str):
        yield from refer(data, "outputs", output, (*keys, "output"))
        yield from _bank_and_program(keys, step, {})
    if not isinstance(name, str):
        return
    if name not in instruments:
        yield from refer(data, "instruments", name, (*keys, "instrument"))
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
    routes = {route["name"] for _, route in _all_routes(data) if isinstance(route.get("name"), str)}
    for index, control in tables(data, "controls"):
        name = control.get("input")
        if isinstance(name, str):
            yield from refer(data, "inputs", name, ("controls", index, "input"))
        if isinstance(control.get("output"), str):
            yield from refer(data, "outputs", control["output"], ("controls", index, "output"))
        if isinstance(control.get("route"), str) and control["route"] not in routes:
            yield Complaint(("controls", index, "route"), no_such("route", control["route"], routes))
        condition = {**table(control, "when"), "scenes": control.get("scenes")}
        if not table(control, "when"):
            continue
        if "controller" in condition and not {"at_least", "at_most", "turn"} & condition.keys():
            condition["at_least"] = 64  # the default
        if ("controller" in condition or "note" in condition) and "turn" not in condition:
            condition.setdefault("press", "short")  # which counts at once if nothing else is told apart
        for key in ("note", "program", "song"):
            if isinstance(condition.get(key), int):
                condition[key] = [condition[key]] * 2  # a range of one
        if isinstance(condition.get("sysex"), str):
            condition["sysex"] = "".join(condition["sysex"].split()).upper()  # one message, however it is spaced
        first = seen.setdefault((str(name), repr(sorted(condition.items()))), index)
        if first != index:
            text = f"control {first + 1} has this condition already on the same input; keep one of the two"
            yield Complaint(("controls", index, "when"), text)


# Clock, time code, remote


def _sync(data: Data) -> Iterator[Complaint]:
    sync = table(data, "sync")
    for section in ("clock", "timecode"):
        found = table(sync, section)
        for place, name in names(found.get("from"), ("sync", section, "from")):
            if name != "internal":
                yield from refer(data, "inputs", name, place)
        for place, name in names(found.get("to"), ("sync", section, "to")):
            yield from refer(data, "outputs", name, place)
    for key, section in (("inputs", "inputs"), ("to", "outputs")):
        for place, name in names(table(data, "remote").get(key), ("remote", key)):
            yield from refer(data, section, name, place)
