"""What each channel of each input has selected and set, wherever that was routed.

A scene change may come between a parameter's selection and its data, or between the MSB of its data and the LSB.
"""

from engine.midi.controllers import DATA_MSB
from engine.midi.parameter_units import DataEntry, Parameter, SelectedParameter


class PlayedParameter:
    """One channel of one input."""

    __slots__ = ("_entry", "_reached")

    def __init__(self) -> None:
        self._entry = DataEntry()
        self._reached: set[tuple[int, int]] = set()  # by the last data MSB: outputs and their channels

    def hear(self, number: int, value: int) -> None:
        """A controller of this channel."""
        self._entry.note(number, value)
        if number == DATA_MSB:
            self._reached.clear()

    @property
    def whole(self) -> SelectedParameter | None:
        """What it has selected; None if it has not sent both the MSB and the LSB of that."""
        return self._entry.selection if self._entry.selection.is_whole else None

    def reach(self, place: tuple[int, int]) -> None:
        """The data MSB is sent to this channel of an output."""
        self._reached.add(place)

    def missed(self, place: tuple[int, int]) -> tuple[Parameter, int] | None:
        """The parameter and its data MSB, if that was not sent to this channel of an output."""
        parameter, value = self._entry.selected, self._entry.msb
        return None if parameter is None or value is None or place in self._reached else (parameter, value)
