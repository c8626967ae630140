"""A receiving synth, written from MIDI 1.0 without any knowledge of the ledger."""

from collections import Counter

# RP-015, with the parameter numbers at "none"; 2 and 69 are treated alike (common practice, no source)
RESTS = {1: 0, 2: 0, 11: 127, 64: 0, 65: 0, 66: 0, 67: 0, 69: 0, 98: 127, 99: 127, 100: 127, 101: 127}
# low bytes of 1, 2 and 11: a new high byte zeroes them (MIDI 1.0 p. 12)
LOW_BYTES = {33: 1, 34: 2, 43: 11}


class Receiver:
    """Listens to one output: which notes sound, what is off rest, which bank and program each channel is on.

    It ignores All Notes Off, which a receiver may ignore (MIDI 1.0 p. 24), and All Sound Off as well: a note that gets
    no note-off sounds for ever. A note-off ends its key, however often that was pressed.
    """

    def __init__(self) -> None:
        self.log: list[bytes] = []
        self.sounding: Counter[tuple[int, int]] = Counter()
        self.off_rest: set[tuple[int, str, int]] = set()
        self.bank: dict[int, list[int]] = {}
        self.sound: dict[int, tuple[int, int, int]] = {}
        self.selected: list[tuple[int, int, int, int]] = []  # channel, MSB, LSB, program: one for each program change

    def hear(self, message: bytes) -> None:
        """One whole message."""
        self.log.append(message)
        if message[0] >= 0xF0:
            return
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            self.sounding[channel, message[1]] += 1
        elif kind in (0x80, 0x90):
            self.sounding.pop((channel, message[1]), None)
        elif kind == 0xB0:
            self._controller(channel, message[1], message[2])
        elif kind == 0xC0:
            high, low = self.bank.get(channel, [0, 0])
            self.sound[channel] = (high, low, message[1])
            self.selected.append((channel, *self.sound[channel]))
        elif kind == 0xE0:
            self._rest(channel, "bend", 0, message[1:] == b"\x00\x40")
        elif kind == 0xD0:
            self._rest(channel, "pressure", 0, message[1] == 0)
        elif kind == 0xA0:
            self._rest(channel, "key pressure", message[1], message[2] == 0)

    def _controller(self, channel: int, number: int, value: int) -> None:
        if number == 0:
            self.bank[channel] = [value, 0]  # only the high byte was sent: the low byte counts as 0 (MIDI 1.0 p. 12)
        elif number == 32:
            self.bank.setdefault(channel, [0, 0])[1] = value
        elif number == 121:  # RP-015: wheels, pedals, bend and pressures come to rest, the bank stays
            self.off_rest = {one for one in self.off_rest if one[0] != channel}
        elif number in RESTS:
            self._rest(channel, "controller", number, value == RESTS[number])
            self._rest(channel, "low byte", number, True)
        elif number in LOW_BYTES:
            self._rest(channel, "low byte", LOW_BYTES[number], value == 0)

    def _rest(self, channel: int, what: str, number: int, at_rest: bool) -> None:
        (self.off_rest.discard if at_rest else self.off_rest.add)((channel, what, number))

    @property
    def held(self) -> int:
        """How many notes sound."""
        return sum(self.sounding.values())
