"""A sequencer that follows clock, start, continue, stop and song position, written from MIDI 1.0 p. 27-32 alone."""

from typing import Final

_SIXTEENTH: Final = 6  # clocks
_GAP: Final = 1_000_000  # ns that a sender leaves between start or continue and the next clock (p. 30)


class Sequencer:
    """Hears one output, time in nanoseconds.

    `played`: the time and the place (clocks from the beginning) of each step.
    """

    def __init__(self) -> None:
        self.playing = False
        self.place = 0  # the clock that it plays next
        self.played: list[tuple[int, int]] = []
        self.clocks: list[int] = []  # times of all clocks
        self.located: list[int] = []  # the song positions that it was sent, in sixteenths
        self._started_at: int | None = None  # and no clock has come since

    def hear(self, now: int, message: bytes) -> None:
        """One message. AssertionError if the standard does not let a sender send it now."""
        if message == b"\xf8":
            self._clock(now)
        elif message[0] == 0xF2:
            assert not self.playing, "a song position is sent only while stopped (p. 29)"
            self.located.append(message[1] | message[2] << 7)
            self.place = self.located[-1] * _SIXTEENTH
        elif message in (b"\xfa", b"\xfb") and not self.playing:
            self.playing, self._started_at = True, now
            self.place = 0 if message == b"\xfa" else self.place
        elif message == b"\xfc":
            self.playing, self._started_at = False, None

    def _clock(self, now: int) -> None:
        self.clocks.append(now)
        if self._started_at is not None:
            assert now - self._started_at >= _GAP, "the first clock comes 1 ms after start or continue (p. 30)"
            self._started_at = None
        if self.playing:
            self.played.append((now, self.place))
            self.place += 1
