"""A receiver of parameters and 14-bit controllers, written from MIDI 1.0 without any knowledge of the program's own.

MIDI 1.0 Detailed Specification 4.2.1 p. 12 (MSB and LSB), p. 17, 18 (parameters), Table 3a (null), RP-015, RP-018.
"""

Named = tuple[str, int, int]  # "rpn" or "nrpn" with MSB and LSB, or "controller" with its number and 0


class ParameterReceiver:
    """One channel: what every parameter and 14-bit controller was set to, and each setting in order."""

    def __init__(self) -> None:
        self.values: dict[Named, tuple[int, int]] = {}  # MSB, LSB
        self.steps: dict[Named, int] = {}  # increments less decrements since it was last set
        self.log: list[tuple[Named, int, int]] = []
        self._rpn = [127, 127]
        self._nrpn = [127, 127]
        self._kind = "rpn"

    def hear(self, message: bytes) -> None:
        """One message of this channel."""
        if message[0] & 0xF0 != 0xB0:
            return
        number, value = message[1], message[2]
        if number in (98, 99):
            self._kind, self._nrpn[99 - number] = "nrpn", value
        elif number in (100, 101):
            self._kind, self._rpn[101 - number] = "rpn", value
        elif number == 121:
            self._rpn, self._nrpn = [127, 127], [127, 127]
        elif number in (6, 38, 96, 97):
            self._enter(number, value)
        elif 1 <= number < 32:
            self._set(("controller", number, 0), value, 0)
        elif 33 <= number < 64:
            name = ("controller", number - 32, 0)
            self._set(name, self.values.get(name, (0, 0))[0], value)

    @property
    def selected(self) -> Named | None:
        """The parameter that data would set; None is null."""
        msb, lsb = self._nrpn if self._kind == "nrpn" else self._rpn
        return None if msb == lsb == 127 else (self._kind, msb, lsb)

    def _enter(self, number: int, value: int) -> None:
        name = self.selected
        if name is None:
            return
        if number == 6:
            self._set(name, value, 0)
        elif number == 38:
            self._set(name, self.values.get(name, (0, 0))[0], value)
        else:
            self.steps[name] = self.steps.get(name, 0) + (1 if number == 96 else -1)

    def _set(self, name: Named, msb: int, lsb: int) -> None:
        self.values[name] = (msb, lsb)
        self.steps.pop(name, None)
        self.log.append((name, msb, lsb))
