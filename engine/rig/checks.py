"""What needs two places of a rig file at once: names that lead nowhere, numbers given twice, a route into itself.

These look at the file's data as it was loaded, not at the models, so that they are told together with whatever else is
wrong. A value of the wrong kind is passed over here; the models complain of it.
"""

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from typing import Any, NamedTuple

Keys = tuple[str | int, ...]
Data = dict[str, Any]


class Complaint(NamedTuple):
    """What is wrong, and where (keys as in the data, indices from 0)."""

    keys: Keys
    text: str
    once: bool = False  # the same text at further places is not told again


def cross_check(data: Data) -> Iterator[Complaint]:
    """Everything that is wrong between places."""
    yield from _once(_everything(data))


def _everything(data: Data) -> Iterator[Complaint]:
    yield from _port_names(data)
    yield from _ports_once(data, "inputs")
    yield from _ports_once(data, "outputs")
    yield from _instruments(data)
    yield from _routes(data)
    yield from _route_names(data)
    yield from _scenes_once(data)
    yield from _names_like_numbers(data)
    yield from _scene_references(data)
    yield from _bursts(data)
    yield from _controls(data)
    yield from _sync(data)


# Reading loose data


def _table(data: Any, key: str) -> Data:
    found = data.get(key) if isinstance(data, dict) else None
    return found if isinstance(found, dict) else {}


def _tables(data: Any, key: str) -> list[tuple[int, Data]]:
    found = data.get(key) if isinstance(data, dict) else None
    return [(i, item) for i, item in enumerate(found) if isinstance(item, dict)] if isinstance(found, list) else []


def _names(found: Any, keys: Keys) -> list[tuple[Keys, str]]:
    """A name or a list of names, each with its place."""
    if isinstance(found, str):
        return [(keys, found)]
    listed = found if isinstance(found, list) else []
    return [((*keys, i), name) for i, name in enumerate(listed) if isinstance(name, str)]


def _no_such(what: str, name: object, known: Iterable[object]) -> str:
    listed = {str(one): one for one in known}
    if not listed:
        return f"there is no {what} {_as_written(name)}; there are none at all"
    close = get_close_matches(name, listed, 1) if isinstance(name, str) else []  # numbers are not misspelt
    remedy = f"did you mean {_as_written(listed[close[0]])}? " if close else ""
    return f"there is no {what} {_as_written(name)}; {remedy}there are: {', '.join(listed)}"


def _as_written(name: object) -> str:
    return f'"{name}"' if isinstance(name, str) else str(name)


def _refer(data: Data, section: str, name: str, place: Keys) -> Iterator[Complaint]:
    """A name that its section has not. Where a section is missing, a name is told once, not in a hundred routes."""
    known = _table(data, section)
    if not known:
        text = (
            f'there is no {section.removesuffix("s")} "{name}", for there are no {section}; name it under [{section}]'
        )
        yield Complaint(place, text, once=True)
    elif name not in known:
        yield Complaint(place, _no_such(section.removesuffix("s"), name, known))


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
        for name in _table(data, section):
            if not name.strip() or "/" in name or "\\" in name or not name.isprintable():
                text = f'found "{name}"; allowed: a name that is not empty, without slashes and control characters'
                yield Complaint((section, name), text)


def _ports_once(data: Data, section: str) -> Iterator[Complaint]:
    taken: dict[tuple[str, str], str] = {}
    for name, port in _table(data, section).items():
        for kind in ("port", "device"):
            where = port.get(kind) if isinstance(port, dict) else None
            if not isinstance(where, str):
                continue
            other = taken.setdefault((kind, where), name)
            if other != name:
                text = f'"{name}" and "{other}" are the same {kind} "{where}"; keep one of the two names'
                yield Complaint((section, name, kind), text)


def _instruments(data: Data) -> Iterator[Complaint]:
    for name, gear in _table(data, "instruments").items():
        output = gear.get("output") if isinstance(gear, dict) else None
        if isinstance(output, str):
            yield from _refer(data, "outputs", output, ("instruments", name, "output"))
        for sound, settings in _table(gear, "sounds").items():
            keys: Keys = ("instruments", name, "sounds", sound)
            yield from _bank_and_program(keys, _table({"it": settings}, "it"), gear)


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
    for index, route in _tables(data, "routes"):
        yield ("routes", index), route
    for number, scene in _tables(data, "scenes"):
        for index, route in _tables(scene, "routes"):
            yield ("scenes", number, "routes", index), route


def _routes(data: Data) -> Iterator[Complaint]:
    inputs, outputs = _table(data, "inputs"), _table(data, "outputs")
    for keys, route in _all_routes(data):
        sources = _names(route.get("from"), (*keys, "from"))
        targets = _names(route.get("to"), (*keys, "to"))
        for place, name in sources:
            yield from _refer(data, "inputs", name, place)
        for place, name in targets:
            yield from _refer(data, "outputs", name, place)
            for _, source in sources:
                if _same_port(inputs.get(source), outputs.get(name)):
                    text = f'"{source}" and "{name}" are one port, which would feed itself; route it elsewhere'
                    yield Complaint(place, text)


def _same_port(source: Any, target: Any) -> bool:
    if not isinstance(source, dict) or not isinstance(target, dict):
        return False
    return any(source.get(kind) is not None and source.get(kind) == target.get(kind) for kind in ("port", "device"))


def _route_names(data: Data) -> Iterator[Complaint]:
    everywhere = [route.get("name") for _, route in _tables(data, "routes")]
    for index, name in enumerate(everywhere):
        if isinstance(name, str) and name in everywhere[:index]:
            yield Complaint(("routes", index, "name"), f'a second route named "{name}"; give it another name')
    for number, scene in _tables(data, "scenes"):
        seen = [name for name in everywhere if isinstance(name, str)]
        for index, route in _tables(scene, "routes"):
            name = route.get("name")
            if isinstance(name, str) and name in seen:
                place: Keys = ("scenes", number, "routes", index, "name")
                yield Complaint(place, f'a second route named "{name}"; give it another name')
            if isinstance(name, str):
                seen.append(name)


# Scenes, and what refers to them


def _scenes_once(data: Data) -> Iterator[Complaint]:
    seen: dict[tuple[str, object], int] = {}
    for index, scene in _tables(data, "scenes"):
        for key in ("number", "name"):
            value = scene.get(key)
            if not _is_reference(value):
                continue
            first = seen.setdefault((key, value), index)
            if first != index:
                where = f"scene {first + 1} of the file has it"
                text = f"a second scene with the {key} {_as_written(value)} ({where}); give it another"
                yield Complaint(("scenes", index, key), text)


def _names_like_numbers(data: Data) -> Iterator[Complaint]:
    """ "12" typed in a shell would mean two scenes."""
    numbers = {str(scene.get("number")): index for index, scene in _tables(data, "scenes")}
    for index, scene in _tables(data, "scenes"):
        name = scene.get("name")
        if isinstance(name, str) and numbers.get(name, index) != index:
            text = f'the name "{name}" is another scene\'s number (scene {numbers[name] + 1} of the file); change it'
            yield Complaint(("scenes", index, "name"), text)


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_reference(value: object) -> bool:
    return isinstance(value, str) or _is_number(value)


def _known_scenes(data: Data) -> list[object]:
    scenes = [scene for _, scene in _tables(data, "scenes")]
    return [scene[key] for key in ("number", "name") for scene in scenes if _is_reference(scene.get(key))]


def _can_tell(data: Data) -> bool:
    """Whether there are scenes, each with number and name; if not, a reference that misses may be meant for such."""
    scenes = _tables(data, "scenes")
    return bool(scenes) and all(_is_number(scene.get("number")) and "name" in scene for _, scene in scenes)


def _scene_references(data: Data) -> Iterator[Complaint]:
    if not _can_tell(data):
        return
    known = _known_scenes(data)
    start = _table(data, "rig").get("start", "last")
    if _is_reference(start) and start != "last" and start not in known:
        yield Complaint(("rig", "start"), _no_such("scene", start, known) + ', or "last"')
    for index, setlist in _tables(data, "setlists"):
        listed = setlist.get("scenes")
        for place, scene in enumerate(listed if isinstance(listed, list) else []):
            if _is_reference(scene) and scene not in known:
                yield Complaint(("setlists", index, "scenes", place), _no_such("scene", scene, known))
    for index, control in _tables(data, "controls"):
        scene = control.get("scene")
        if _is_reference(scene) and scene not in known:
            yield Complaint(("controls", index, "scene"), _no_such("scene", scene, known))
        listed = control.get("scenes")
        for place, scene in enumerate(listed if isinstance(listed, list) else []):
            if _is_reference(scene) and scene not in known:
                yield Complaint(("controls", index, "scenes", place), _no_such("scene", scene, known))


# Bursts


def _bursts(data: Data) -> Iterator[Complaint]:
    for number, scene in _tables(data, "scenes"):
        taken: dict[tuple[object, object], int] = {}
        for index, step in _tables(scene, "burst"):
            keys: Keys = ("scenes", number, "burst", index)
            yield from _burst_step(data, keys, step)
            where = _where(data, step)
            if where is not None and taken.setdefault(where, index) != index:
                text = f"a second step for {where[0]} channel {where[1]} in one burst; keep one of the two"
                yield Complaint(keys, text)


def _where(data: Data, step: Data) -> tuple[object, object] | None:
    """Output and channel that a step tells a program; None if it is blank or they cannot be told."""
    if "sound" not in step and "program" not in step:
        return None
    gear = _table(_table(data, "instruments"), step["instrument"]) if isinstance(step.get("instrument"), str) else step
    output, channel = gear.get("output"), gear.get("channel")
    return (output, channel) if isinstance(output, str) and isinstance(channel, int) else None


def _burst_step(data: Data, keys: Keys, step: Data) -> Iterator[Complaint]:
    instruments = _table(data, "instruments")
    name, output, sound = step.get("instrument"), step.get("output"), step.get("sound")
    if isinstance(output, str):
        yield from _refer(data, "outputs", output, (*keys, "output"))
        yield from _bank_and_program(keys, step, {})
    if not isinstance(name, str):
        return
    if name not in instruments:
        yield from _refer(data, "instruments", name, (*keys, "instrument"))
        return
    gear = _table(instruments, name)
    yield from _bank_and_program(keys, step, gear)
    if isinstance(sound, str) and sound not in _table(gear, "sounds"):
        yield Complaint((*keys, "sound"), _no_such("sound", sound, _table(gear, "sounds")) + f' (sounds of "{name}")')


# Controls


def _controls(data: Data) -> Iterator[Complaint]:
    seen: dict[tuple[object, str], int] = {}
    routes = {route["name"] for _, route in _all_routes(data) if isinstance(route.get("name"), str)}
    for index, control in _tables(data, "controls"):
        name = control.get("input")
        if isinstance(name, str):
            yield from _refer(data, "inputs", name, ("controls", index, "input"))
        if isinstance(control.get("output"), str):
            yield from _refer(data, "outputs", control["output"], ("controls", index, "output"))
        if isinstance(control.get("route"), str) and control["route"] not in routes:
            yield Complaint(("controls", index, "route"), _no_such("route", control["route"], routes))
        condition = {**_table(control, "when"), "scenes": control.get("scenes")}
        if not _table(control, "when"):
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
    sync = _table(data, "sync")
    for section in ("clock", "timecode"):
        found = _table(sync, section)
        for place, name in _names(found.get("from"), ("sync", section, "from")):
            if name != "internal":
                yield from _refer(data, "inputs", name, place)
        for place, name in _names(found.get("to"), ("sync", section, "to")):
            yield from _refer(data, "outputs", name, place)
    for key, section in (("inputs", "inputs"), ("to", "outputs")):
        for place, name in _names(_table(data, "remote").get(key), ("remote", key)):
            yield from _refer(data, section, name, place)
