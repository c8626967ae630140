"""Checks of what scenes of format 2 say: whom they are like, their lines and cues, and what they and controls send."""

from collections.abc import Iterator

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
        yield from _taken_away(keys, scene, family)
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

    def inherited_names(self, place: int) -> list[str] | None:
        """The names of lines and routes that a scene inherits; None if that cannot be known."""
        lineage: list[int] = []
        base = self._base[place]
        while base is not None and base not in lineage and base != place:
            lineage.append(base)
            base = self._base[base]
        oldest = self._scenes[lineage[-1]] if lineage else self._scenes[place]
        if base is not None or "like" in oldest:
            return None
        names: dict[str, None] = {}
        for each in reversed(lineage):
            scene = self._scenes[each]
            for line in (line for key in ("routes", "play") for _, line in tables(scene, key)):
                if isinstance(line.get("name"), str):
                    names[line["name"]] = None
                    if line.get("off") is True:
                        del names[line["name"]]
        return [*names]


def _found(called: dict[object, int], like: object) -> int | None:
    return called.get(like) if isinstance(like, str | int) and not isinstance(like, bool) else None


def _taken_away(keys: Keys, scene: Data, family: _Family) -> Iterator[Complaint]:
    for place, line in tables(scene, "play"):
        name = line.get("name")
        if line.get("off") is not True or not isinstance(name, str):
            continue
        if "like" not in scene:
            text = f'"{name}" cannot be taken away: this scene is not like another; add like = NUMBER, or leave out off'
            yield Complaint((*keys, "play", place, "off"), text)
            continue
        known = family.inherited_names(int(keys[1]))
        if known is not None and name not in known:
            yield Complaint((*keys, "play", place, "name"), f"{no_such('inherited line', name, known)}")


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
        if _understood(line, Receiver()) and not _understood(line, Receiver(None)):
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
