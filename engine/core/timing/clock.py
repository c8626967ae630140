"""Follows and generates MIDI beat clock (MIDI 1.0 p. 27-32).

Twenty-four clocks make a quarter note; start and continue take effect at the next clock; song position counts
sixteenths, six clocks each.
"""

import math
from collections import deque
from itertools import pairwise
from typing import Final

from engine.core.timing.clock_stand import ClockStand

CLOCK, START, CONTINUE, STOP = (bytes((status,)) for status in (0xF8, 0xFA, 0xFB, 0xFC))
SONG_POSITION: Final = 0xF2
PER_BEAT: Final = 24
PER_SIXTEENTH: Final = 6
LAST_POSITION: Final = 16383  # sixteenths
SLOWEST, FASTEST = 20.0, 300.0  # beats per minute

_MINUTE: Final = 60_000_000_000  # ns
_KEPT: Final = (
    2 * PER_BEAT + 1
)  # clocks that the tempo is taken from: two beats after a change, none from before is left
_FEWEST: Final = 4  # before a tempo is reported
_ODD: Final = 4  # intervals in a row that do not fit a steady clock are a new tempo
_TOO_SOON: Final = 0.4  # part of a period: a clock that comes sooner is a duplicate
_LATE: Final = 0.65  # part of a period that a clock may be late before one counts as missing
_CALM: Final = 0.25  # part of each clock's jitter that moves where the next is expected
_GAP: Final = 1_000_000  # ns between start and the next clock (p. 30)
_TAPS: Final = 5
_TAPS_APART: Final = 3_000_000_000  # ns: after a longer pause tapping begins again


def period(bpm: float) -> float:
    """Nanoseconds from clock to clock."""
    return _MINUTE / (bpm * PER_BEAT)


class ClockFollower:
    """Follows one input's clock. A missing or duplicate clock does not change the tempo."""

    def __init__(self) -> None:
        self.running = False
        self.stopped = False  # by a stop; without a start or a stop, it may have been running before we were
        self.position = 0  # clocks since the song's beginning
        self._starting = False
        self._ticks: deque[tuple[int, int]] = deque(maxlen=_KEPT)  # (number, time in ns)
        self._due_at = 0.0  # where the last clock would have been without its jitter
        self._odd = 0  # intervals in a row that did not fit
        self.last_bpm: float | None = None  # the tempo when a clock last came

    def hear(self, now: int, message: bytes) -> None:
        """A clock, start, continue, stop or song position."""
        if message == CLOCK:
            self._tick(now)
            return
        self.stopped = message == STOP or (self.stopped and message[0] == SONG_POSITION)
        if message == START and not self.running:
            self.position, self.running, self._starting = 0, True, True
        elif message == CONTINUE and not self.running:
            self.running, self._starting = True, True
        elif message == STOP:
            self.running = False
        elif message[0] == SONG_POSITION and not self.running:
            self.position = (message[1] | message[2] << 7) * PER_SIXTEENTH

    @property
    def silent_at(self) -> int | None:
        """When it counts as silent unless another clock comes: after four periods without one."""
        return self._ticks[-1][1] + round(4 * (self._period() or period(SLOWEST))) if self._ticks else None

    @property
    def steady(self) -> bool:
        """Whether at least one beat of clocks has come."""
        return len(self._ticks) >= PER_BEAT

    def alive(self, now: int) -> bool:
        """Whether its clocks still come."""
        end = self.silent_at
        return end is not None and now < end

    def bpm(self, now: int) -> float | None:
        """Tempo in beats per minute, by least squares over the last clocks; None if it is not known."""
        if len(self._ticks) < _FEWEST or not self.alive(now):
            return None
        slope = self._slope()
        return _MINUTE / (slope * PER_BEAT) if slope else None

    def _tick(self, now: int) -> None:
        if self.running:
            # the first clock after start is at the beginning of the song
            self.position += 0 if self._starting else 1
            self._starting = False
        if not self._ticks:
            self._ticks.append((0, now))
            self._due_at = float(now)
            return
        last, at = self._ticks[-1]
        expected = self._period()
        steps = self._steps(now, at, expected)
        self._odd = 0 if steps == 1 else self._odd + 1
        if self._odd > _ODD:
            self._ticks.clear()
            self._odd, steps = 0, 1
        if steps:
            self._ticks.append((last + steps, now))
            due_at = self._due_at + steps * expected if expected else float(now)
            self._due_at = due_at + _CALM * (now - due_at)
            if len(self._ticks) == _KEPT or not len(self._ticks) % _FEWEST:
                self.last_bpm = self.bpm(now)

    def _steps(self, now: int, at: int, expected: float | None) -> int:
        """How many clocks the time since the last one makes up: 1, more if some are missing, 0 for a duplicate."""
        if not expected:  # not known, or all at once
            return 1
        # an early clock after a late one is not a duplicate, nor is the next one missing: both the last clock and the
        # time at which it was due must agree
        soonest, latest = sorted(((now - at) / expected, (now - self._due_at) / expected))
        return 0 if latest < _TOO_SOON else max(1, int(soonest + 1 - _LATE))

    def _period(self) -> float | None:
        """The median of the last intervals, each divided by its number of clocks."""
        ticks = list(self._ticks)[-13:]
        if len(ticks) < 3:
            return None
        between = sorted((b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(ticks))
        return between[len(between) // 2]

    def _slope(self) -> float:
        """Nanoseconds per clock."""
        first, begin = self._ticks[0]
        points = [(number - first, at - begin) for number, at in self._ticks]
        count = len(points)
        mean_n = sum(n for n, _ in points) / count
        mean_t = sum(t for _, t in points) / count
        over = sum(((n - mean_n) * (t - mean_t) for n, t in points), 0.0)
        return over / sum(((n - mean_n) ** 2 for n, _ in points), 0.0)


class ClockGenerator:
    """Makes a clock. Its times are counted from the last change of tempo, so that it never drifts.

    One that `idles` goes on while it is stopped, so that receivers keep the tempo (MIDI 1.0 p. 30); these clocks do not
    move the song, and a start changes nothing in their times. Continue comes with the song position, for a receiver
    that was not there when it stopped.
    """

    def __init__(self, bpm: float, *, idles: bool = False, tells_position: bool = True) -> None:
        self.bpm = bpm
        self.running = False
        self._idles, self._tells_position = idles, tells_position
        self._sends = False  # clocks, running or idle
        self._starting = False  # with the next clock
        self.position = 0  # clocks since the song's beginning
        self._from = 0  # time (ns) of clock number 0 of this tempo
        self._next = 0  # the number of the next clock
        self._soonest = 0  # time (ns) before which the next clock may not be sent
        self.skipped = 0  # clocks that were never sent: after a stall of more than a beat
        self._taps: list[int] = []

    @property
    def due(self) -> int | None:
        """When `send` next has something, or None."""
        return max(self._grid, self._soonest) if self._sends else None

    @property
    def _grid(self) -> int:
        """Where the next clock belongs."""
        return self._from + round(self._next * period(self.bpm))

    def start(self, now: int) -> list[bytes]:
        """Run from the beginning; nothing if it is running (p. 31)."""
        if self.running:
            return []
        self.position = 0
        return [self._run(now, START)]

    def go_on(self, now: int) -> list[bytes]:
        """Run on from the beginning of the sixteenth in which it stopped, which the song position names (p. 27)."""
        if self.running:
            return []
        sixteenths = max(0, self.position) // PER_SIXTEENTH
        located = self._tells_position and sixteenths <= LAST_POSITION  # beyond that no message can name it
        return [*(self.locate(sixteenths) if located else ()), self._run(now, CONTINUE)]

    def stop(self) -> list[bytes]:
        """Stop; nothing if it is stopped."""
        if not self.running:
            return []
        self.position += self._starting  # it has not moved
        self.running, self._sends, self._starting = False, self._idles, False
        return [STOP]

    def locate(self, sixteenths: int) -> list[bytes]:
        """Go to a song position, up to LAST_POSITION; only while it is stopped (p. 29)."""
        if self.running:
            return []
        self.position = sixteenths * PER_SIXTEENTH
        return [bytes((SONG_POSITION, sixteenths & 0x7F, sixteenths >> 7))]

    def idle(self, now: int) -> None:
        """Send clocks from now on, if it idles and is stopped."""
        if not self._sends and self._idles:
            self._begin_grid(now)

    def set_idles(self, now: int, idles: bool) -> None:
        """Whether it goes on while it is stopped."""
        self._idles = idles
        if not idles and not self.running:
            self._sends = False
        self.idle(now)

    def silence(self) -> None:
        """Stop without a word: another clock leads, or the show is over."""
        self.running = self._sends = self._starting = False

    def set_bpm(self, now: int, bpm: float) -> None:
        """Change the tempo. The part of the present clock that is over stays as it is, and so do the clocks owed."""
        if self._sends and self._next:
            before = period(self.bpm)
            over = (now - self._from) / before - (self._next - 1)  # of the present clock, 0 to 1; with those owed, more
            self._from, self._next = round(now - max(0.0, over) * period(bpm)), 1
        self.bpm = bpm

    def tap(self, now: int) -> None:
        """A tap of the foot; the second and later ones set the tempo, within the limits."""
        if self._taps and now == self._taps[-1]:  # two switches at the same time are one tap
            return
        if self._taps and now - self._taps[-1] > _TAPS_APART:
            self._taps.clear()
        self._taps = [*self._taps[1 - _TAPS :], now]
        if len(self._taps) > 1:
            beat = (self._taps[-1] - self._taps[0]) / (len(self._taps) - 1)
            self.set_bpm(now, max(SLOWEST, min(FASTEST, _MINUTE / beat)))

    def take_over(self, now: int, bpm: float, position: int, stopped: bool) -> None:
        """Go on where another clock fell silent; `stopped`: after its stop, so that only an idle clock goes on."""
        self.bpm, self.running, self.position = max(SLOWEST, min(FASTEST, bpm)), not stopped, position
        if self.running or self._idles:
            self._begin_grid(now)

    def follow(self, now: int, other: ClockStand) -> None:
        """Run, or be stopped, as another generator is."""
        self.bpm = max(SLOWEST, min(FASTEST, other.bpm))
        self.position = other.position
        self.running = other.next_in is not None and not other.idle
        self._begin_grid(now + (other.next_in or 0))
        self._sends = other.next_in is not None

    def stand(self, now: int) -> ClockStand:
        """Its tempo, position and time to the next clock; see `follow`."""
        idle = self._sends and not self.running
        return ClockStand(self.bpm, self.position, self.due - now if self.due is not None else None, idle)

    def send(self, now: int) -> list[bytes]:
        """The clock, if it is due.

        After a stall of up to a beat, the clocks that were missed follow at twice the tempo until none is owed, so that
        whoever follows is at the same place again. After a longer one they are skipped and counted. While it is stopped
        none is owed.
        """
        due = self.due
        if due is None or now < due:
            return []
        length = period(self.bpm)
        behind = int((now - self._grid) / length)
        skipped = behind if behind > PER_BEAT or not self.running else 0
        self._next += 1 + skipped
        self._starting = False
        if self.running:
            self.skipped += skipped
            self.position += 1 + skipped
        self._soonest = now + round(length / 2) if behind > skipped else 0
        return [CLOCK]

    def _run(self, now: int, message: bytes) -> bytes:
        self.running = self._starting = True
        if self._sends:  # the tempo stays as it was: the song begins with the next clock
            missed = math.ceil((now - self._grid) / period(self.bpm))
            self._next += max(0, missed)
            self._soonest = now + _GAP
        else:
            self._begin_grid(now + _GAP)
        self.position -= 1  # the first clock is where the song begins
        return message

    def _begin_grid(self, at: int) -> None:
        self._sends = True
        self._from, self._next, self._soonest = at, 0, 0
