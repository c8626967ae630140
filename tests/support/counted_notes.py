"""Plays a song into a FIFO for as long as a test lasts, and counts note by note what comes out of another.

Each note-on carries a number in its velocity (for each key 1 to 127, then again from 1), so that notes can be told
apart at the output. Beside the song runs a beacon, which counts every 4 ms in the controllers that the standard leaves
undefined (MIDI 1.0, table III: 20 to 31): it shows, to within 4 ms, when the output was silent.
"""

import os
import select
import threading
import time
from bisect import bisect
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import cycle, pairwise
from pathlib import Path

import mido

from engine.midi.byte_stream import StreamParser

_BEACON = 0.004  # seconds
_BEACON_CONTROLLERS = range(20, 32)
_BEACONS = 128 * len(_BEACON_CONTROLLERS)
_MATCH = 3.0  # seconds that a message may take, on a computer that stands still; numbers repeat after longer

Log = list[tuple[float, bytes]]


def notes_of(song: Path) -> list[tuple[float, bytes]]:
    """The notes of a Standard MIDI File, each with the pause before it (s), without those on channel 16."""
    notes, pause = [], 0.0
    for message in mido.MidiFile(song):
        pause += message.time
        if message.type in ("note_on", "note_off") and message.channel < 15:
            notes.append((pause, bytes(message.bytes())))
            pause = 0.0
    return notes


def is_on(message: bytes) -> bool:
    return message[0] & 0xF0 == 0x90 and message[2] > 0


def _is_beacon(message: bytes) -> bool:
    return message[0] == 0xBF and message[1] in _BEACON_CONTROLLERS


class Performance:
    """Plays and listens in threads of its own until `stop`."""

    def __init__(self, notes: Sequence[tuple[float, bytes]], into: Path, out_of: Path, beacon: bool) -> None:
        """`beacon`: whether the beacon is played beside the song; the song then has no rests."""
        self._beacon = beacon
        self.played: Log = []
        self.heard: Log = []
        self._notes = notes
        self._ends = threading.Event()
        self._deaf = threading.Event()
        self._in = os.open(into, os.O_RDWR)  # so that the FIFO always has a reader
        self._out = os.open(out_of, os.O_RDONLY | os.O_NONBLOCK)
        self._threads = [threading.Thread(target=each) for each in (self._play, self._listen)]

    def start(self) -> None:
        for each in self._threads:
            each.start()

    def stop(self) -> None:
        """End the song and release every key; what arrives within the next second still counts."""
        self._ends.set()
        self._threads[0].join()
        time.sleep(1.0)  # what is still on its way arrives
        self._deaf.set()
        self._threads[1].join()
        os.close(self._in)
        os.close(self._out)

    def _play(self) -> None:
        song = self._numbered()
        at, beacon_at, number = time.monotonic() + 0.1, time.monotonic(), 0
        pause, message = next(song)
        at += pause
        while not self._ends.is_set():
            now = time.monotonic()
            if beacon_at <= now:
                if self._beacon:
                    self._put(bytes((0xBF, _BEACON_CONTROLLERS[number // 128], number % 128)))
                beacon_at, number = beacon_at + _BEACON, (number + 1) % _BEACONS
            if at <= now:
                self._put(message)
                pause, message = next(song)
                at = max(at, now - 0.1) + pause
            time.sleep(max(0.0, min(at, beacon_at) - time.monotonic()))
        for channel, key in list(sounding(self.played).elements()):
            self._put(bytes((0x80 | channel, key, 64)))

    def _numbered(self) -> Iterator[tuple[float, bytes]]:
        numbers: dict[bytes, Iterator[int]] = defaultdict(lambda: cycle(range(1, 128)))
        for pause, message in cycle(self._notes):
            yield pause, bytes((*message[:2], next(numbers[message[:2]]))) if is_on(message) else message

    def _put(self, message: bytes) -> None:
        self.played.append((time.monotonic(), message))
        os.write(self._in, message)

    def _listen(self) -> None:
        parser = StreamParser()
        while not self._deaf.is_set():
            if not select.select([self._out], [], [], 0.05)[0]:
                continue
            data = os.read(self._out, 65536)
            now = time.monotonic()
            if not data:  # the FIFO has no writer
                time.sleep(0.001)
            self.heard += [(now, message) for message in parser.feed(data)]


@dataclass(frozen=True)
class Count:
    """What became of the notes: lost, doubled, still sounding at the end; and beacons that arrived twice.

    `late`: the longest time from playing a note to its arrival (s).
    """

    ons: int
    lost: list[float]  # when they were played
    doubled: int
    hanging: int
    beacons_doubled: int
    late: float


def count(played: Log, heard: Log) -> Count:
    """Compare what was played with what arrived."""
    ons = [(at, message) for at, message in played if is_on(message)]
    used, late = _matches(ons, [(at, message) for at, message in heard if is_on(message)])
    beacons = [each for each in played if _is_beacon(each[1])]
    seen, _ = _matches(beacons, [each for each in heard if _is_beacon(each[1])])
    return Count(
        len(ons),
        [at for number, (at, _) in enumerate(ons) if not used[number]],
        sum(max(0, times - 1) for times in used.values()) + used[-1],
        sounding(heard).total(),
        sum(max(0, times - 1) for number, times in seen.items() if number >= 0),
        late,
    )


def sounding(log: Log) -> Counter[tuple[int, int]]:
    """The notes that have a note-on without a note-off, by channel and key."""
    found: Counter[tuple[int, int]] = Counter()
    for _, message in log:
        place = message[0] & 0x0F, message[1]
        if is_on(message):
            found[place] += 1
        elif message[0] & 0xE0 == 0x80:
            found[place] = max(0, found[place] - 1)
    return found


def _matches(played: Log, heard: Log) -> tuple[Counter[int], float]:
    """How often each played message arrived, with key -1 for all others; and the longest delay (s)."""
    by_message: dict[bytes, list[tuple[float, int]]] = defaultdict(list)
    for number, (at, message) in enumerate(played):
        by_message[message].append((at, number))
    used: Counter[int] = Counter()
    late = 0.0
    for at, message in heard:
        before = by_message[message]
        place = bisect(before, (at, len(played))) - 1
        if place < 0 or before[place][0] <= at - _MATCH:
            used[-1] += 1
        else:
            used[before[place][1]] += 1
            late = max(late, at - before[place][0])
    return used, late


def dumb_for(heard: Log, since: float) -> tuple[float, float]:
    """The longest gap between beacons in the two seconds after this moment: when it began (s) and its length (s).

    Zero if there is no beacon.
    """
    times = [at for at, message in heard if _is_beacon(message)]
    near = [at for at in times if since - 0.1 < at < since + 2.0]
    lasts, begins = max(((later - earlier, earlier) for earlier, later in pairwise(near)), default=(0.0, since))
    return begins, lasts
