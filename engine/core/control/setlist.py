"""The order of a show: which scene comes next, and where the show is."""

from collections.abc import Sequence
from contextlib import suppress
from typing import NamedTuple


class ShowPosition(NamedTuple):
    """Where a show is: the number of its scene, the name of its set list, and the place in it, as of `SetListPlace`."""

    scene: int
    setlist: str = ""
    place: int = -1


class SetListPlace:
    """Scene numbers in playing order, and the present place (0 is the first; -1 before the first recall)."""

    def __init__(self, name: str | None, numbers: Sequence[int]) -> None:
        """`name`: None for the scenes in the order of the rig."""
        self.name = name
        self.numbers = tuple(numbers)
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
        for begin in (self.place + 1, 0):
            with suppress(ValueError):
                self.place = self.numbers.index(number, begin)
                return

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

    def onwards(self) -> tuple[int, ...]:
        """The scenes that are still to come."""
        return self.numbers[self.place + 1 :]

    def go_before(self, coming: Sequence[int]) -> None:
        """The scene in force is not in the list: the first of these scenes that is in it will be next, if any."""
        places = (self.numbers.index(number) for number in coming if number in self.numbers)
        self.place = next(places, len(self.numbers)) - 1
