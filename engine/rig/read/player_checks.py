"""Checks of players with scenes of their own: whose each input, scene and set list is."""

from collections.abc import Iterator
from typing import Final

from engine.rig.read.raw_data import Complaint, Data, Keys, as_written, names, table, tables

#: scenes that are like one another in a row; beyond that a line from another's input is left to the recall, where it
#: does not play
_DEEPEST: Final = 64

#: by player ("" for the rest of the rig), the first of their inputs that a scene plays
Played = dict[str, str]


def check_players(data: Data) -> Iterator[Complaint]:
    """All mistakes about players."""
    players = tables(data, "players")
    if not players:
        return
    yield from _inputs_once(players)
    whose = {name: str(each.get("name")) for _, each in players for _, name in names(each.get("inputs"), ())}
    scenes = _Scenes(data, whose)
    yield from scenes.mixed()
    owners = scenes.owners()
    listed = {each["name"]: each for _, each in tables(data, "setlists") if isinstance(each.get("name"), str)}
    songs = {each["name"]: each for _, each in tables(data, "songs") if isinstance(each.get("name"), str)}
    for place, each in tables(data, "setlists"):
        yield from _one_owner(("setlists", place), _entries(each, songs), owners)
    for place, song in tables(data, "songs"):
        yield from _one_owner(("songs", place, "scenes"), _numbers(song.get("scenes")), owners)
    for place, player in players:
        own = listed.get(player["setlist"]) if isinstance(player.get("setlist"), str) else None
        for scene in _entries(own or {}, songs):
            owner = owners.get(scene)
            if owner is not None and owner != player.get("name"):
                text = (
                    f"scene {as_written(scene)} of this set list plays inputs of {_called(owner)}; leave it out there"
                )
                yield Complaint(("players", place, "setlist"), text)
                break
    start = table(data, "rig").get("start")
    if isinstance(start, str | int) and owners.get(start):
        text = f"scene {as_written(start)} plays inputs of {owners[start]}, who starts by the set list; name another"
        yield Complaint(("rig", "start"), text)


def _inputs_once(players: list[tuple[int, Data]]) -> Iterator[Complaint]:
    taken: dict[str, str] = {}
    for place, player in players:
        for keys, name in names(player.get("inputs"), ("players", place, "inputs")):
            other = taken.setdefault(name, str(player.get("name")))
            if other != str(player.get("name")):
                yield Complaint(keys, f'"{name}" is an input of {other} already; an input is one player\'s')


def _called(owner: str) -> str:
    return owner or "no player"


def _numbers(found: object) -> list[int | str]:
    return [each for each in found if isinstance(each, int | str)] if isinstance(found, list) else []


def _entries(setlist: Data, songs: dict[str, Data]) -> list[int | str]:
    """The scenes of a set list, by number or name."""
    of_songs = (songs.get(name, {}).get("scenes") for _, name in names(setlist.get("songs"), ()))
    return [*_numbers(setlist.get("scenes")), *(scene for listed in of_songs for scene in _numbers(listed))]


def _one_owner(keys: Keys, entries: list[int | str], owners: dict[int | str, str]) -> Iterator[Complaint]:
    owned = [(owners[scene], scene) for scene in entries if scene in owners]
    other = next((each for each in owned if each[0] != owned[0][0]), None)
    if other is not None:
        (first, one), (second, two) = owned[0], other
        text = (
            f"scene {as_written(one)} plays inputs of {_called(first)} and scene {as_written(two)} inputs of "
            f"{_called(second)}; make one list for each"
        )
        yield Complaint(keys, text)


class _Scenes:
    """The scenes of a rig, with those whose inputs they play."""

    def __init__(self, data: Data, whose: dict[str, str]) -> None:
        self._whose = whose
        self._tables = dict(tables(data, "scenes"))
        self._places: dict[int | str, int] = {}
        for key in ("number", "name"):
            for place, scene in self._tables.items():
                if isinstance(scene.get(key), int | str):
                    self._places.setdefault(scene[key], place)
        self._played: dict[int, Played] = {}

    def mixed(self) -> Iterator[Complaint]:
        """Scenes that play inputs of several."""
        for place in self._tables:
            played = self.played(place)
            if len(played) > 1:
                listed = " and ".join(f'"{name}" of {_called(owner)}' for owner, name in played.items())
                text = f"this scene plays {listed}; a scene plays the inputs of one player only: make two of it"
                yield Complaint(("scenes", place), text)

    def owners(self) -> dict[int | str, str]:
        """By number and by name, whose a scene is; left out if it is nobody's."""
        found = {name: self.played(place) for name, place in self._places.items()}
        return {name: next(iter(played)) for name, played in found.items() if len(played) == 1}

    def played(self, place: int) -> Played:
        """What a scene plays, inherited lines included."""
        if place not in self._played:
            lines = self._lines(place)
            listed = [name for line in lines for _, name in names(line.get("from"), ())]
            self._played[place] = {self._whose.get(name, ""): name for name in reversed(listed)}
        return self._played[place]

    def _lines(self, place: int) -> list[Data]:
        """All lines and routes of a scene; those it inherits go by their names."""
        found: list[Data] = []
        named: set[object] = set()
        seen: set[int] = set()
        at: int | None = place
        while at is not None and at not in seen and len(seen) < _DEEPEST:
            seen.add(at)
            scene = self._tables[at]
            own = [line for key in ("routes", "play") for _, line in tables(scene, key)]
            found += [line for line in own if line.get("off") is not True and line.get("name") not in named]
            named.update(line["name"] for line in own if isinstance(line.get("name"), str))
            like = scene.get("like")
            at = self._places.get(like) if isinstance(like, int | str) else None
        return found
