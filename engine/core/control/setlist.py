"""The order of a show: which scene comes next, and where the show is."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

#: semitones by which the foot transposes at the most
LAST_STEP: Final = 24


class ShowPosition(NamedTuple):
    """Where a show is: the number of its scene, the name of its set list, and the place in it, as of `SetListPlace`.

    `song`: the name of the song in force, "" for none; `step`: semitones by which the foot has transposed it all.
    """

    scene: int
    setlist: str = ""
    place: int = -1
    song: str = ""
    step: int = 0


class PlayingOrder(NamedTuple):
    """Scene numbers in playing order, and the song that each entry belongs to, if it is exactly one.

    `starts`: the places at which a song begins; `places`: by scene number, its places in their order.
    """

    numbers: tuple[int, ...]
    songs: tuple[str | None, ...]
    starts: tuple[int, ...]
    places: Mapping[int, Sequence[int]]


def order_of_songs(songs: Iterable[tuple[str, Sequence[int]]]) -> PlayingOrder:
    """A set list of songs, each given by its name and its scenes."""
    numbers, names, starts = list[int](), list[str | None](), list[int]()
    for name, scenes in songs:
        starts.append(len(numbers))
        numbers += scenes
        names += [name] * len(scenes)
    return PlayingOrder(tuple(numbers), tuple(names), tuple(starts), _places(numbers))


def order_of_scenes(numbers: Sequence[int], songs: Mapping[str, Sequence[int]]) -> PlayingOrder:
    """A set list of scenes; `songs`: the scenes of all songs by name."""
    found = {number: [name for name, scenes in songs.items() if number in scenes] for number in numbers}
    names = [found[number][0] if len(found[number]) == 1 else None for number in numbers]
    starts = [at for at, name in enumerate(names) if name is not None and (at == 0 or names[at - 1] != name)]
    return PlayingOrder(tuple(numbers), tuple(names), tuple(starts), _places(numbers))


def _places(numbers: Sequence[int]) -> Mapping[int, Sequence[int]]:
    places: dict[int, list[int]] = {}
    for place, number in enumerate(numbers):
        places.setdefault(number, []).append(place)
    return places


class SetListPlace:
    """Scene numbers in playing order, and the present place (0 is the first; -1 before the first recall)."""

    def __init__(self, name: str | None, order: PlayingOrder) -> None:
        """`name`: None for the scenes in the order of the rig."""
        self.name, self.numbers = name, order.numbers
        self._songs, self._starts, self._places = order.songs, order.starts, order.places
        self.place = -1
        self.loaded: int | None = None  # the scene that show control wants next, until another is recalled

    @property
    def words(self) -> str:
        """What it is called in a sentence."""
        return "the scenes" if self.name is None else f"set list {self.name}"

    def move_to(self, number: int) -> None:
        """A scene was recalled: go to its place, the next one from here if it occurs more than once."""
        if 0 <= self.place < len(self.numbers) and self.numbers[self.place] == number:
            return
        places = self._places.get(number)
        if places is not None:
            after = bisect_right(places, self.place)
            self.place = places[after] if after < len(places) else places[0]

    def resume(self, position: ShowPosition) -> None:
        """Go to an earlier position, if its scene is still at that place."""
        if 0 <= position.place < len(self.numbers) and self.numbers[position.place] == position.scene:
            self.place = position.place

    def beside(self, step: int) -> int | None:
        """The number of the next scene (`step` 1) or the one before (-1); None at either end.

        A scene that has been loaded is next, wherever it is in the list.
        """
        if step > 0 and self.loaded is not None:
            return self.loaded
        place = self.place + step
        return self.numbers[place] if 0 <= place < len(self.numbers) else None

    def go(self, step: int) -> None:
        """Move the place; the caller has checked that there is one."""
        if step > 0 and self.loaded is not None:
            self.move_to(self.loaded)
        else:
            self.place += step

    def song_of(self, number: int) -> str | None:
        """The song of this scene, if the present entry is the scene, and belongs to exactly one song."""
        here = 0 <= self.place < len(self.numbers) and self.numbers[self.place] == number
        return self._songs[self.place] if here else None

    def beside_song(self, step: int) -> int | None:
        """The place where the next song begins (`step` 1); for -1 the first scene of this song or, if that is the
        present one, of the song before. None at either end."""
        if step > 0:
            return next((start for start in self._starts if start > self.place), None)
        return next((start for start in reversed(self._starts) if start < self.place), None)

    def start_of(self, song: str) -> int | None:
        """The place where a song begins, the next one from here if it occurs more than once; None if it does not."""
        places = [start for start in self._starts if self._songs[start] == song]
        return next((place for place in places if place >= self.place), places[0] if places else None)

    def onwards(self) -> tuple[int, ...]:
        """The scenes that are still to come."""
        return self.numbers[self.place + 1 :]

    def go_before(self, coming: Sequence[int]) -> None:
        """The scene in force is not in the list: the first of these scenes that is in it will be next, if any."""
        places = (self.numbers.index(number) for number in coming if number in self.numbers)
        self.place = next(places, len(self.numbers)) - 1
