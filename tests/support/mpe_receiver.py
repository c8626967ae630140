"""A receiver of an MPE zone, or of one channel, written from M1-100-UM v1.1 alone.

A note sounds as high as its key, its channel's bend and, in a zone, the manager's bend together.
"""


class MpeReceiver:
    """Channels are 1 to 16, ranges of bends in semitones. Without members it is one ordinary channel, the manager."""

    def __init__(self, manager: int, manager_range: float, members: range = range(0), member_range: float = 0) -> None:
        self._ranges = dict.fromkeys(members, member_range) | {manager: manager_range}
        self._manager = manager
        self._bends = dict.fromkeys(self._ranges, 8192)
        self._pressures = dict.fromkeys(self._ranges, 0)
        self._timbres = dict.fromkeys(self._ranges, 64)
        self.sounding: list[tuple[int, int]] = []  # channel and key

    def hear(self, message: bytes) -> None:
        """One message of any channel; what is not of this receiver's channels must not come."""
        channel, kind = (message[0] & 0x0F) + 1, message[0] & 0xF0
        assert channel in self._ranges, f"nothing may come on channel {channel}"
        if kind == 0x90 and message[2]:
            self.sounding.append((channel, message[1]))
        elif kind in (0x80, 0x90):
            assert (channel, message[1]) in self.sounding, "each release has its press"
            self.sounding.remove((channel, message[1]))
        elif kind == 0xE0:
            self._bends[channel] = message[2] << 7 | message[1]
        elif kind == 0xD0:
            self._pressures[channel] = message[1]
        elif kind == 0xB0 and message[1] == 74:
            self._timbres[channel] = message[2]

    def pitch(self, channel: int, key: int) -> float:
        """How high this note sounds, in semitones from key 0."""
        bent = self._semitones(channel)
        return key + bent + (self._semitones(self._manager) if channel != self._manager else 0)

    def expressions(self) -> list[tuple[int, int, int]]:
        """Key, pressure and timbre of all notes that sound, in order."""
        return sorted((key, self._pressures[channel], self._timbres[channel]) for channel, key in self.sounding)

    def pitches(self) -> list[float]:
        """Of all notes that sound, in order."""
        return sorted(self.pitch(*note) for note in self.sounding)

    @property
    def pressures(self) -> dict[int, int]:
        """By channel."""
        return self._pressures

    def _semitones(self, channel: int) -> float:
        offset = self._bends[channel] - 8192
        return self._ranges[channel] * offset / (8191 if offset > 0 else 8192)
