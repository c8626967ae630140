"""The messages that pass, in words, each parameter on one line: "channel 1 NRPN 1/8 = 64"."""

from collections.abc import Hashable, Iterable
from typing import NamedTuple

from engine.midi.controllers import DATA_LSB, DATA_MSB
from engine.midi.kinds import CONTROLLER
from engine.midi.message_words import MiddleC, describe
from engine.midi.parameter_units import SELECTS, SETS, DataEntry


class _Open(NamedTuple):
    """Places of lines that a later message may take into its own: a selection, or an MSB that waits for its LSB."""

    places: tuple[int, ...] = ()
    is_data: bool = False


class UnitWords:
    """What each channel of several streams has selected. A stream is known by anything that names it.

    Note 60 is `middle_c`.
    """

    def __init__(self, middle_c: MiddleC = "C4") -> None:
        self.middle_c: MiddleC = middle_c
        self._entries: dict[tuple[Hashable, int], DataEntry] = {}

    def lines(self, passing: Iterable[tuple[Hashable, bytes]]) -> list[str | None]:
        """The line of each of these messages; None for those that are part of a later one's line."""
        lines: list[str | None] = []
        opened: dict[tuple[Hashable, int], _Open] = {}
        for stream, message in passing:
            lines.append(describe(message, self.middle_c))
            if message[0] & 0xF0 != CONTROLLER or message[1] not in SELECTS | SETS:
                continue
            where = (stream, message[0] & 0x0F)
            words, opened[where], taken = self._step(where, message, opened.get(where, _Open()), len(lines) - 1)
            if words is not None:
                lines[-1] = f"channel {where[1] + 1} {words}"
            for place in taken:
                lines[place] = None
        return lines

    def _step(
        self, where: tuple[Hashable, int], message: bytes, opened: _Open, place: int
    ) -> tuple[str | None, _Open, tuple[int, ...]]:
        """Its words if it is part of a unit; what is open after it; the places of lines that it takes into its own."""
        entry = self._entries.setdefault(where, DataEntry())
        number = message[1]
        words = entry.turn(number, message[2])
        if number in SELECTS:
            places = () if opened.is_data else opened.places
            if entry.selected is not None and entry.selected.is_null:
                return "no parameter selected", _Open(), places
            return None, _Open((*places, place)), ()
        if words is None:
            return None, _Open(), ()
        taken = opened.places if number == DATA_LSB or not opened.is_data else ()
        return words, _Open((place,), is_data=True) if number == DATA_MSB else _Open(), taken
