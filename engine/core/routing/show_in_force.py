"""What filters ask of the show: its tempo, and what was sent last. They are built before the show that they play in."""

from collections.abc import Callable, Iterable
from typing import Final

from engine.core.routing.filter_chain import FilterLink, RaisedFaults, through
from filters.registry import Later

#: beats per minute where no clock has been heard and the rig has none of its own
USUAL: Final = 120.0


class ShowInForce:
    """The show that the filters of a rig play in, as soon as there is one."""

    def __init__(self, bpm: float = USUAL) -> None:
        """`bpm`: the tempo while the show knows none."""
        self._otherwise = bpm
        self._bpm: Callable[[int], float | None] | None = None
        self._value: Callable[[int, bytes], int | None] | None = None

    def follow(self, bpm: Callable[[int], float | None], value: Callable[[int, bytes], int | None]) -> None:
        """From now on this is the show.

        `bpm`: beats per minute at a time; `value`: what an output has of a message's controller. None is not known.
        """
        self._bpm, self._value = bpm, value

    def tempo(self, now: int) -> float:
        """Beats per minute at this time (ns)."""
        bpm = self._bpm(now) if self._bpm is not None else None
        return bpm or self._otherwise

    def value(self, output: int, controller: bytes) -> int | None:
        """What this output, by index, has of a message's controller; None if it is not known."""
        return self._value(output, controller) if self._value is not None else None


class ChainSurroundings:
    """What one filter of a chain may ask; see `Surroundings` of the filters' registry."""

    def __init__(self, show: ShowInForce, outputs: tuple[int, ...], behind: tuple[FilterLink, ...]) -> None:
        """`outputs`: where the chain leads; `behind`: its filters behind this one."""
        self._show, self._outputs, self._links = show, outputs, behind

    def tempo(self, now: int) -> float:
        """See Surroundings."""
        return self._show.tempo(now)

    def in_force(self, controller: bytes) -> int | None:
        """See Surroundings."""
        found = (self._show.value(output, each) for each in self._behind(controller) for output in self._outputs)
        return next((value for value in found if value is not None), None)

    def _behind(self, controller: bytes) -> Iterable[bytes]:
        """What the outputs get of it; filters that keep state may not be asked twice, and are taken to pass it."""
        flowing: tuple[bytes | Later, ...] = (controller,)
        for link in self._links:
            if not link.keeps_state:
                flowing = through(link, flowing, 0, RaisedFaults())
        return [each for each in flowing if isinstance(each, bytes) and len(each) == 3]
