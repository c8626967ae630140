"""Checks of what scenes of format 2 say: whom they are like, their lines and cues, and what they and controls send."""

from collections.abc import Collection, Iterator, Mapping

from engine.midi.setup_words import Receiver, set_up
from engine.midi.show_control import plain_cue
from engine.rig.read.raw_data import Complaint, Data, Keys, as_written, no_such, table, tables


def check_scenes(data: Data, lists: bool) -> Iterator[Complaint]:
    """All mistakes between a scene's keys, or between scenes; `lists`: whether the sounds include those of lists."""
    yield from _cues_once(data)
    family = _Family(data)
    yield from family.circles()
    for place, scene in tables(data, "scenes"):
        keys: Keys = ("scenes", place)
        yield from _lines(data, keys, scene, lists)
    yield from _taken_away(data, family)
    yield from _words(data)


def _cues_once(data: Data) -> Iterator[Complaint]:
    seen: dict[str, object] = {}
    for place, scene in tables(data, "scenes"):
        cue = scene.get("cue")
        if not isinstance(cue, str):
            continue
        if plain_cue(cue) in seen:
            text = f'scene {as_written(seen[plain_cue(cue)])} already has the cue "{cue}"; give this one another'
            yield Complaint(("scenes", place, "cue"), text)
        seen.setdefault(plain_cue(cue), scene.get("number"))


class _Family:
    """Which scene is like which, by their places in the file."""

    def __init__(self, data: Data) -> None:
        self._scenes = dict(tables(data, "scenes"))
        called: dict[object, int] = {}
        for key in ("name", "number"):
            for place, scene in self._scenes.items():
                if isinstance(scene.get(key), str | int):
                    called.setdefault(scene[key], place)
        self._base = {place: _found(called, scene.get("like")) for place, scene in self._scenes.items()}

    def circles(self) -> Iterator[Complaint]:
        """One complaint for each circle, at the first of its scenes in the file."""
        done: set[int] = set()
        for start in self._scenes:
            way: list[int] = []
            place: int | None = start
            while place is not None and place not in done:
                done.add(place)
                way.append(place)
                place = self._base[place]
            if place in way:
                circle = way[way.index(place) :]
                first = circle.index(min(circle))
                names = [self._scenes[each].get("number") for each in (*circle[first:], *circle[:first], min(circle))]
                text = f"a circle: scene {' is like '.join(map(str, names))}; let one of them stand by itself"
                yield Complaint(("scenes", min(circle), "like"), text)

    def inherited(self) -> Iterator[tuple[int, Collection[str]]]:
        """Each scene that is like another, with the names of the lines and routes that it inherits.

        A base comes before those like it, and the names are those of this moment: a copy for each scene would grow
        with the square of the number of scenes. Scenes whose names cannot be known are left out: those of a circle,
        or like a scene that does not exist.
        """
        alike: dict[int, list[int]] = {}
        for place, base in self._base.items():
            if base is not None:
                alike.setdefault(base, []).append(place)
        names: dict[str, None] = {}
        left: list[tuple[int, Mapping[str, bool]]] = [
            (place, {}) for place, scene in self._scenes.items() if "like" not in scene
        ]
        while left:
            place, before = left.pop()
            if place < 0:
                _put(names, before)
                continue
            if self._base[place] is not None:
                yield place, names
            own = _own_names(self._scenes[place])
            left.append((-1, {name: name in names for name in own}))
            _put(names, own)
            left += [(each, {}) for each in alike.get(place, ())]


def _own_names(scene: Data) -> dict[str, bool]:
    """The names of a scene's lines and routes; False if it takes the inherited line away."""
    lines = [line for key in ("routes", "play") for _, line in tables(scene, key)]
    return {line["name"]: line.get("off") is not True for line in lines if isinstance(line.get("name"), str)}


def _put(names: dict[str, None], change: Mapping[str, bool]) -> None:
    """Add the names of which this is true, and take the others away."""
    for name, there in change.items():
        if there:
            names[name] = None
        else:
            names.pop(name, None)


def _found(called: dict[object, int], like: object) -> int | None:
    return called.get(like) if isinstance(like, str | int) and not isinstance(like, bool) else None


def _taken_away(data: Data, family: _Family) -> Iterator[Complaint]:
    for place, scene in tables(data, "scenes"):
        for keys, name in _off(place, scene) if "like" not in scene else ():
            text = f'"{name}" cannot be taken away: this scene is not like another; add like = NUMBER, or leave out off'
            yield Complaint((*keys, "off"), text)
    scenes = dict(tables(data, "scenes"))
    for place, known in family.inherited():
        for keys, name in _off(place, scenes[place]):
            if name not in known:
                yield Complaint((*keys, "name"), no_such("inherited line", name, known))


def _off(place: int, scene: Data) -> Iterator[tuple[Keys, str]]:
    """The places and names of the lines that a scene takes away."""
    for index, line in tables(scene, "play"):
        if line.get("off") is True and isinstance(line.get("name"), str):
            yield ("scenes", place, "play", index), line["name"]


def _lines(data: Data, keys: Keys, scene: Data, lists: bool) -> Iterator[Complaint]:
    instruments = table(data, "instruments")
    stepped = {step.get("instrument") for _, step in tables(scene, "burst") if isinstance(step.get("instrument"), str)}
    for place, line in tables(scene, "play"):
        sound, name = line.get("sound"), line.get("on")
        if not isinstance(sound, str) or not isinstance(name, str) or name not in instruments:
            continue
        here: Keys = (*keys, "play", place, "sound")
        gear = table(instruments, name)
        if sound not in table(gear, "sounds") and (lists or "sounds_from" not in gear):
            yield Complaint(here, no_such("sound", sound, table(gear, "sounds")) + f' (sounds of "{name}")')
        if name in stepped:
            text = f'the burst of this scene has a step for "{name}" already; keep either the step or this sound'
            yield Complaint(here, text)


# Words


def _words(data: Data) -> Iterator[Complaint]:
    """Words that the models let pass, since they do not know the receiver."""
    instruments = table(data, "instruments")
    for name, gear in instruments.items():
        yield from _to_instrument(gear, ("instruments", name, "setup"), table({"it": gear}, "it").get("setup"))
        for sound, settings in table(gear, "sounds").items():
            keys: Keys = ("instruments", name, "sounds", sound, "send")
            yield from _to_instrument(gear, keys, table({"it": settings}, "it").get("send"))
    for here, each in _sendings(data):
        if isinstance(each.get("on"), str):
            yield from _to_instrument(instruments.get(each["on"]), here, each.get("send"))
        elif isinstance(each.get("to"), str):
            yield from _to_output(here, each.get("send"))


def _sendings(data: Data) -> Iterator[tuple[Keys, Data]]:
    """What scenes and controls send, each with the place of its words."""
    for place, scene in tables(data, "scenes"):
        for key in ("enter", "leave"):
            for index, each in tables(scene, key):
                yield ("scenes", place, key, index, "send"), each
    for place, control in tables(data, "controls"):
        yield ("controls", place, "do", "send"), table(control, "do")
        for index, each in tables(control, "do"):
            yield ("controls", place, "do", index, "send"), each


def _to_instrument(gear: object, keys: Keys, lines: object) -> Iterator[Complaint]:
    first = 0 if table({"it": gear}, "it").get("programs_from") == 0 else 1
    for place, line in _texts(lines):
        if not _understood(line, Receiver(0, first)) and _understood(line, Receiver(0, 1 - first)):
            text = f'found "{line}"; allowed: program {first} to {first + 127}, for programs count from {first} here'
            yield Complaint((*keys, place), text)


def _to_output(keys: Keys, lines: object) -> Iterator[Complaint]:
    for place, line in _texts(lines):
        anywhere = any(_understood(line, Receiver(0, first)) for first in (0, 1))
        if anywhere and not _understood(line, Receiver(None)):
            remedy = "write on = INSTRUMENT, or the message in hexadecimal"
            text = f'"{line}" needs a channel, and an output has none; {remedy}'
            yield Complaint((*keys, place), text)


def _texts(lines: object) -> list[tuple[int, str]]:
    listed = lines if isinstance(lines, list) else []
    return [(place, line) for place, line in enumerate(listed) if isinstance(line, str)]


def _understood(line: str, to: Receiver) -> bool:
    try:
        return bool(set_up(line, to))
    except ValueError:
        return False
