"""Time in a song: ticks, nanoseconds, bars and beats, converted by its tempo and metre."""

from bisect import bisect_right
from collections.abc import Iterable
from typing import Final

from engine.midi.midi_file import METER, TEMPO, MidiFileEvent

_S: Final = 1_000_000_000
_TEMPO: Final = 500_000  # µs per beat, unless the file sets a tempo (RP-001 p. 8: 120 beats per minute)
_FINEST: Final = 32_767  # ticks per beat, the maximum in a file


class SongTime:
    """`division` as in `MidiFile`; `events`: the tempo and time signature events of all tracks, in order of time."""

    def __init__(self, division: int = 1000, events: Iterable[MidiFileEvent] = (), bars: bool = True) -> None:
        """`bars`: whether bars can be counted; in a flight recording they are unknown."""
        self._counted = bars and division > 0
        events = [*events]
        self.division = division if division > 0 else -division
        self._tempos = self._lay_out(events if division > 0 else (), _TEMPO if division > 0 else 1_000_000)
        self._starts = [tempo[1] for tempo in self._tempos]
        self._ticks = [tempo[0] for tempo in self._tempos]
        self._bars = self._lay_out_bars(events)
        self._bar_ticks = [bar[0] for bar in self._bars]

    def _lay_out(self, events: Iterable[MidiFileEvent], tempo: int) -> list[tuple[int, float, int]]:
        """(tick, ns, µs per beat) of each tempo."""
        found, ns, last = [(0, 0.0, tempo)], 0.0, 0
        for event in events:
            if event.meta != TEMPO or len(event.message) != 3:
                continue
            ns += (event.tick - last) * tempo * 1000 / self.division
            last, tempo = event.tick, int.from_bytes(event.message, "big") or _TEMPO
            if found[-1][0] == last:
                found.pop()
            found.append((last, ns, tempo))
        return found

    def _lay_out_bars(self, events: Iterable[MidiFileEvent]) -> list[tuple[int, int, float, float]]:
        """(tick, bar from 0, ticks per bar, ticks per beat) of each time signature; a new one begins a bar."""
        beat = float(self.division)
        found = [(0, 0, 4 * beat, beat)]
        for event in events:
            if event.meta != METER or len(event.message) < 2 or not event.message[0] or event.message[1] > 6:
                continue
            tick, bar, length, _ = found[-1]
            bar += round((event.tick - tick) / length + 0.499)  # a shortened bar counts
            beat = self.division * 4 / 2 ** event.message[1]
            if tick == event.tick:
                found.pop()
            found.append((event.tick, bar, beat * event.message[0], beat))
        return found

    def time(self, tick: int) -> int:
        """Nanoseconds from the start."""
        start, ns, tempo = self._tempos[bisect_right(self._ticks, tick) - 1]
        return round(ns + (tick - start) * tempo * 1000 / self.division)

    def tick(self, ns: int) -> float:
        """Ticks from the start; a time before it is negative."""
        start, begun, tempo = self._tempos[max(bisect_right(self._starts, ns) - 1, 0)]
        return start + (ns - begun) * self.division / (tempo * 1000)

    def place(self, ns: int) -> tuple[int, float]:
        """Bar and beat, both from 1; the beat with its fraction."""
        tick = max(self.tick(ns), 0.0)
        start, bar, length, beat = self._bars[bisect_right(self._bar_ticks, tick) - 1]
        bars, rest = divmod(tick - start, length)
        return bar + int(bars) + 1, rest / beat + 1

    def words(self, ns: int) -> str:
        """As "0:07.250, bar 4:3"; without bars as "0:07.250"."""
        if not self._counted:
            return clock(ns)
        bar, beat = self.place(ns)
        return f"{clock(ns)}, bar {bar}:{int(beat)}"

    def for_file(self) -> tuple[int, list[MidiFileEvent]]:
        """The finest ticks per beat that a file can have, and tempo and metre events in these ticks."""
        finer = max(_FINEST // self.division, 1)
        tempos = [MidiFileEvent(tick * finer, tempo.to_bytes(3, "big"), TEMPO) for tick, _, tempo in self._tempos]
        bars = [
            MidiFileEvent(tick * finer, bytes((round(length / beat), _power(self.division * 4 / beat), 24, 8)), METER)
            for tick, _, length, beat in self._bars
        ]
        return self.division * finer, sorted((*tempos, *bars), key=lambda event: event.tick)


def clock(ns: int) -> str:
    """A time as minutes, seconds and milliseconds: "2:07.250"."""
    ms = max(round(ns / 1e6), 0)
    return f"{ms // 60_000}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def _power(value: float) -> int:
    return round(value).bit_length() - 1
