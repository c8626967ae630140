"""Controllers of 14 bits in words: an MSB and an LSB, which are two messages, and one value.

Source: MIDI 1.0 Detailed Specification 4.2.1 p. 12: controller N (0 to 31) has the LSB N + 32; a new MSB sets the LSB
to 0, and an LSB may come alone.
"""

from typing import Final

from engine.midi.controllers import BANKS, DATA_MSB, LSB_OF, MSB_OF, RESET_ALL_CONTROLLERS
from engine.midi.message_words import controller_words

#: those that are such values: a bank belongs to a program, and data to a parameter
_HIGHS: Final = frozenset(LSB_OF) - {*BANKS, DATA_MSB}
PAIRED: Final = _HIGHS | {LSB_OF[number] for number in _HIGHS}


class FineControllers:
    """One channel of a stream: the last MSB of each controller."""

    def __init__(self) -> None:
        self._highs: dict[int, int] = {}

    def turn(self, number: int, value: int) -> str | None:
        """A controller of this channel; for an LSB whose MSB is known, the value in words: "volume 8195 / 14"."""
        if number == RESET_ALL_CONTROLLERS:  # what an MSB is now is not known: some go to rest (RP-015)
            self._highs.clear()
        elif number in _HIGHS:
            self._highs[number] = value
        elif number in PAIRED and MSB_OF[number] in self._highs:
            high = MSB_OF[number]
            return f"{controller_words(high, self._highs[high] << 7 | value)} / 14"
        return None
