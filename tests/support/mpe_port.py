"""A sound module with MPE, written from M1-100-UM v1.1 alone: it takes zones, and says how high each note sounds.

It begins without a zone, in which state every channel is an ordinary one with a bend of two semitones.
"""

from typing import NamedTuple


class SoundingKey(NamedTuple):
    """A key that is down, on a channel of 1 to 16."""

    channel: int
    key: int


class MpePort:
    """All sixteen channels. `refused`: what came where the standard says that it must not be sent."""

    def __init__(self) -> None:
        self.sounding: list[SoundingKey] = []
        self.refused: list[bytes] = []
        self.bends = dict.fromkeys(range(1, 17), 8192)
        self.pressures = dict.fromkeys(range(1, 17), 0)
        self.timbres: dict[int, int] = {}
        self._ranges = dict.fromkeys(range(1, 17), 2.0)
        self._counts = {1: 0, 16: 0}  # members by manager
        self._numbers: dict[int, tuple[int, int]] = {}  # channel -> RPN MSB and LSB

    @property
    def zones(self) -> dict[int, tuple[int, int]]:
        """By manager, first and last member of the zones that are on."""
        found = {}
        if self._counts[1]:
            found[1] = (2, 1 + self._counts[1])
        if self._counts[16]:
            found[16] = (16 - self._counts[16], 15)
        return found

    def manager(self, channel: int) -> int | None:
        """The manager of a member channel; None if it is no member."""
        return next((boss for boss, (first, last) in self.zones.items() if first <= channel <= last), None)

    def hear(self, message: bytes) -> None:
        """One message."""
        if message[0] >= 0xF0:
            return
        kind, channel = message[0] & 0xF0, (message[0] & 0x0F) + 1
        if kind == 0x90 and message[2]:
            self.sounding.append(SoundingKey(channel, message[1]))
        elif kind in (0x80, 0x90):
            self.sounding = [each for each in self.sounding if each != SoundingKey(channel, message[1])]
        elif kind == 0xA0 and self.manager(channel) is not None:
            self.refused.append(message)  # key pressure is the manager's
        elif kind == 0xE0:
            self.bends[channel] = message[1] | message[2] << 7
        elif kind == 0xD0:
            self.pressures[channel] = message[1]
        elif kind == 0xB0:
            self._control(channel, message[1], message[2])

    def _control(self, channel: int, number: int, value: int) -> None:
        msb, lsb = self._numbers.get(channel, (127, 127))
        if number == 101:
            self._numbers[channel] = (value, lsb)
        elif number == 100:
            self._numbers[channel] = (msb, value)
        elif number == 6 and (msb, lsb) == (0, 6) and channel in self._counts:
            self._configure(channel, value)
        elif number == 6 and (msb, lsb) == (0, 0):
            self._reach(channel, value)
        elif number == 74:
            self.timbres[channel] = value
        elif number == 121:
            self._rest(channel)
        elif number in (120, 123):
            of = {channel, *self._members(channel)}
            self.sounding = [each for each in self.sounding if each.channel not in of]

    def _configure(self, manager: int, count: int) -> None:
        """The later message has its way, and takes channels from the other zone."""
        before = self._members(1) | self._members(16)
        other = 17 - manager
        self._counts[manager] = count
        self._counts[other] = max(0, min(self._counts[other], 14 - count))
        self._ranges[manager] = 2
        for channel in self._members(manager):
            self._ranges[channel] = 48
        changed = before ^ (self._members(1) | self._members(16))
        self.sounding = [each for each in self.sounding if each.channel not in changed]
        for channel in changed:
            self._rest(channel)

    def _members(self, manager: int) -> set[int]:
        first, last = self.zones.get(manager, (1, 0))
        return {*range(first, last + 1)}

    def _reach(self, channel: int, semitones: int) -> None:
        boss = self.manager(channel)
        for each in self._members(boss) if boss is not None else {channel}:
            self._ranges[each] = semitones

    def _rest(self, channel: int) -> None:
        self.bends[channel], self.pressures[channel] = 8192, 0

    def pitch(self, note: SoundingKey) -> float:
        """How high it sounds, in semitones from key 0: the key, its own bend, and that of its manager."""
        boss = self.manager(note.channel)
        return note.key + self._bent(note.channel) + (self._bent(boss) if boss is not None else 0)

    def pitches(self) -> list[float]:
        """Of all keys that are down, in order."""
        return sorted(map(self.pitch, self.sounding))

    def shapes(self) -> list[tuple[int, int, int]]:
        """Key, pressure and timbre of all keys that are down, in order; a timbre that was never moved is 64."""
        return sorted((key, self.pressures[channel], self.timbres.get(channel, 64)) for channel, key in self.sounding)

    def ranges(self, manager: int) -> dict[int, float]:
        """How far the bends of a zone reach, by channel."""
        return {channel: self._ranges[channel] for channel in (manager, *sorted(self._members(manager)))}

    @property
    def at_rest(self) -> bool:
        """Whether nothing sounds, and no channel is bent or pressed."""
        bent = [channel for channel, value in self.bends.items() if value != 8192]
        return not (self.sounding or bent or any(self.pressures.values()))

    def _bent(self, channel: int) -> float:
        offset = self.bends[channel] - 8192
        return self._ranges[channel] * offset / (8191 if offset > 0 else 8192)
