"""What filters ask of the show: its tempo, and what was sent last. They are built before the show that they play in."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, Final, NamedTuple

from engine.core.routing.filter_chain import FilterLink, RaisedFaults, through
from engine.core.routing.sent_values import Channel, SentValues
from engine.midi.mpe_configuration import AnnouncedZone
from filters.registry import Later

#: beats per minute where no clock has been heard and the rig has none of its own
USUAL: Final = 120.0


class ShowInForce:
    """The show that the filters of a rig play in, as soon as there is one."""

    def __init__(self, bpm: float = USUAL) -> None:
        """`bpm`: the tempo while the show knows none."""
        self._otherwise = bpm
        self._bpm: Callable[[int], float | None] | None = None
        self._sent: SentValues | None = None
        self.positions: Callable[[int], Iterable[bytes]] = lambda source: ()
        self.sounding: Callable[[], Mapping[Channel, bool]] = dict
        self.announced: Callable[[int, int], AnnouncedZone | None] = lambda source, manager: None
        self._shared: dict[Hashable, dict[Any, Any]] = {}

    def follow(
        self,
        bpm: Callable[[int], float | None],
        sent: SentValues,
        positions: Callable[[int], Iterable[bytes]],
        sounding: Callable[[], Mapping[Channel, bool]],
        announced: Callable[[int, int], AnnouncedZone | None],
    ) -> None:
        """From now on this is the show.

        `bpm`: beats per minute at a time; `sent`: what each channel of each output was last sent.
        `positions`: the last message of everything of an input that was moved; `sounding`: the channels where notes
        sound (True) or have just sounded (False); `announced`: the MPE zone of an input, by its manager.
        """
        self._bpm, self._sent, self.positions = bpm, sent, positions
        self.sounding, self.announced = sounding, announced

    def shared(self, key: Hashable) -> dict[Any, Any]:
        """What filters remember together that ask by the same key."""
        return self._shared.setdefault(key, {})

    def tempo(self, now: int) -> float:
        """Beats per minute at this time (ns)."""
        bpm = self._bpm(now) if self._bpm is not None else None
        return bpm or self._otherwise

    def value(self, output: int, controller: bytes) -> int | None:
        """What this output, by index, has of a message's controller; None if it is not known."""
        return self._sent.value(output, controller) if self._sent is not None else None

    def is_in_force(self, output: int, message: bytes) -> bool:
        """Whether what this message moves is there already on this output, by index."""
        return self._sent is None or self._sent.is_in_force(output, message)


class ChainEnds(NamedTuple):
    """Where a chain of filters comes from and where it leads, by index."""

    source: int
    outputs: tuple[int, ...]


class ChainSurroundings:
    """What one filter of a chain may ask; see `Surroundings` of the filters' registry."""

    def __init__(self, show: ShowInForce, ends: ChainEnds, behind: tuple[FilterLink, ...]) -> None:
        """`behind`: the filters of the chain that are behind this one."""
        self._show, self._ends, self._links = show, ends, behind

    def tempo(self, now: int) -> float:
        """See Surroundings."""
        return self._show.tempo(now)

    def positions(self) -> Iterable[bytes]:
        """See Surroundings."""
        return self._show.positions(self._ends.source)

    def in_force(self, controller: bytes) -> int | None:
        """See Surroundings."""
        arriving = [each for each in self._behind(controller) if len(each) == 3]
        found = (self._show.value(output, each) for each in arriving for output in self._ends.outputs)
        return next((value for value in found if value is not None), None)

    def is_in_force(self, message: bytes) -> bool:
        """See Surroundings."""
        return all(
            self._show.is_in_force(output, each) for each in self._behind(message) for output in self._ends.outputs
        )

    def sounding(self) -> Mapping[int, bool]:
        """See Surroundings."""
        found: dict[int, bool] = {}
        for (output, channel), sounds in self._show.sounding().items():
            if output in self._ends.outputs:
                found[channel] = sounds or found.get(channel, False)
        return found

    def announced(self, manager: int) -> tuple[int, int, int, int] | None:
        """See Surroundings."""
        found = self._show.announced(self._ends.source, manager)
        return (found.zone.first, found.zone.last, found.bend, found.manager_bend) if found is not None else None

    def shared(self, key: Hashable) -> dict[Any, Any]:
        """See Surroundings."""
        return self._show.shared((self._ends.outputs, key))

    def _behind(self, message: bytes) -> Iterable[bytes]:
        """What the outputs get of it; filters that keep state may not be asked twice, and are taken to pass it."""
        flowing: tuple[bytes | Later, ...] = (message,)
        for link in self._links:
            if not link.keeps_state:
                flowing = through(link, flowing, 0, RaisedFaults())
        return [each for each in flowing if isinstance(each, bytes)]
