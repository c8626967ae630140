"""What passes, in words: each parameter on one line, "channel 1 NRPN 1/8 = 64", and each value of 14 bits."""

from collections.abc import Hashable, Iterable, Sequence
from typing import Final, NamedTuple

from engine.midi.controllers import DATA_LSB, DATA_MSB, LSB_OF, MSB_OF, RESET_ALL_CONTROLLERS
from engine.midi.fine_controllers import PAIRED, FineControllers
from engine.midi.kinds import CONTROLLER, Message, is_whole
from engine.midi.message_words import MiddleC, describe, from_hex
from engine.midi.parameter_units import SELECTS, SETS, DataEntry

_OF_PARAMETER: Final = SELECTS | SETS


def unit_from_hex(text: str) -> tuple[Message, ...]:
    """One whole message, or all those that set one parameter or one controller of 14 bits.

    Raises ValueError: it says what is allowed.
    """
    try:
        data = bytes.fromhex(text)
    except ValueError:
        data = b""
    unit = tuple(data[place : place + 3] for place in range(0, len(data), 3))
    if len(unit) > 1 and all(is_whole(each) and _is_of_unit(each) for each in unit) and _is_one(unit):
        return unit
    try:
        return (from_hex(text),)
    except ValueError as fault:
        raise ValueError(f"{fault}, or the messages of one parameter or 14-bit controller") from None


def unit_in_words(unit: Sequence[Message], middle_c: MiddleC = "C4") -> str:
    """One message, or those of one unit, in one line."""
    return UnitWords(middle_c).lines((None, each) for each in unit)[-1] or ""


def _is_one(unit: tuple[Message, ...]) -> bool:
    """Whether these are of one channel and make one line."""
    lines = UnitWords().lines((each[0], each) for each in unit)
    return len({each[0] for each in unit}) == 1 and not any(lines[:-1])


def _is_of_unit(message: Message) -> bool:
    return message[0] & 0xF0 == CONTROLLER and message[1] in _OF_PARAMETER | PAIRED


class _Open(NamedTuple):
    """Places of lines that a later message may take into its own: a selection, half of the null parameter, or an MSB
    that waits for its LSB."""

    places: tuple[int, ...] = ()
    is_data: bool = False
    is_null: bool = False


#: a channel, 0 to 15, of a stream
Where = tuple[Hashable, int]


class UnitWords:
    """What each channel of several streams has selected and set. A stream is known by anything that names it.

    Note 60 is `middle_c`.
    """

    def __init__(self, middle_c: MiddleC = "C4") -> None:
        self.middle_c: MiddleC = middle_c
        self._entries: dict[Where, DataEntry] = {}
        self._fine: dict[Where, FineControllers] = {}

    def lines(self, passing: Iterable[tuple[Hashable, bytes]]) -> list[str | None]:
        """The line of each of these messages; None for those that are part of a later one's line."""
        lines: list[str | None] = []
        opened: dict[Where, _Open] = {}
        highs: dict[tuple[Where, int], int] = {}  # where each MSB of 14-bit controllers has its line
        for stream, message in passing:
            lines.append(describe(message, self.middle_c))
            if message[0] & 0xF0 != CONTROLLER:
                continue
            where, place = (stream, message[0] & 0x0F), len(lines) - 1
            if message[1] in _OF_PARAMETER:
                words, opened[where], taken = self._step(where, message, opened.get(where, _Open()), place)
            else:
                words, taken = self._turn(where, message, place, highs)
            if words is not None:
                lines[-1] = f"channel {where[1] + 1} {words}"
            for earlier in taken:
                lines[earlier] = None
        return lines

    def _turn(
        self, where: Where, message: bytes, place: int, highs: dict[tuple[Where, int], int]
    ) -> tuple[str | None, tuple[int, ...]]:
        """What is no part of a parameter: its words if it is an LSB, and the place of the line that it takes."""
        number = message[1]
        if number == RESET_ALL_CONTROLLERS:
            self._entries.pop(where, None)
        words = self._fine.setdefault(where, FineControllers()).turn(number, message[2])
        if number in PAIRED and number in LSB_OF:
            highs[where, number] = place
        taken = highs.pop((where, MSB_OF[number]), None) if words is not None else None
        return words, () if taken is None else (taken,)

    def _step(
        self, where: Where, message: bytes, opened: _Open, place: int
    ) -> tuple[str | None, _Open, tuple[int, ...]]:
        """Its words if it is part of a unit; what is open after it; the places of lines that it takes into its own."""
        entry = self._entries.setdefault(where, DataEntry())
        number = message[1]
        words = entry.turn(number, message[2])
        if number in SELECTS:
            places = () if opened.is_data else opened.places
            if entry.selected is not None and entry.selected.is_null:
                return "no parameter selected", _Open((place,), is_null=True), places
            return None, _Open((*(() if opened.is_null else places), place)), ()
        if words is None:
            return None, _Open(), ()
        taken = opened.places if number == DATA_LSB or not opened.is_data else ()
        return words, _Open((place,), is_data=True) if number == DATA_MSB else _Open(), taken
