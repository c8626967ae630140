"""The flight recorder: what came in, went out and was commanded lately, always on, in a bounded amount of memory.

Each entry is one tuple appended to a short list. Once all that is due has been sent, a list that is long enough is
packed into one piece of bytes (about 30 bytes per short message), and the oldest pieces are dropped when there are too
many. A packed piece never changes, so a snapshot copies no entries, and any thread may unpack it.
"""

import json
import marshal
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from engine.core.command_codec import encode
from engine.core.commands import Command, PlayerCommand
from engine.live.recorded_positions import Passed, Place, in_force

_PIECE: Final = 256  # entries; packing this many takes about 10 µs
_MOST: Final = 1024  # entries of a piece that is packed while there is still something to be sent
_ENTRY: Final = 30  # bytes that a short message takes, packed
_LONG: Final = 1 << 16  # bytes of SysEx in a piece after which it is packed early
SHORT: Final = 3  # bytes of the longest message that is not SysEx
_PACKING: Final = 2  # marshal's format without a look-up of every object
_NS: Final = 1_000_000_000

#: what an entry is, if not a message: those have the index of an input, or ~ the index of an output
_SCENE: Final = 1 << 30
_TOLD: Final = _SCENE + 1
_DID: Final = _SCENE + 2
_TICK: Final = _SCENE + 3
_STOOD: Final = _SCENE + 4

_Entry = tuple[int, int, bytes | str | tuple[Any, ...] | Place]
#: the number and name of a scene
Scene = tuple[int, str]


class RecordedEvent(NamedTuple):
    """One thing that happened: time (monotonic ns) and "in", "out", "scene", "told" or "did".

    `number` is the index of the port or the number of the scene; `text` is the scene's name or the report. What was
    done beside that ("did", see `FlightRecorder.did` and `applied`) is in `text` as a list in JSON.
    """

    at: int
    way: str
    number: int
    message: bytes
    text: str


class PackedPiece(NamedTuple):
    """Packed entries: how many, the time of the first (ns), the last scene and the place before it, and the bytes."""

    entries: int
    begins: int
    scene: Scene | None
    place: Place | None
    packed: bytes


@dataclass(frozen=True)
class RecorderSnapshot:
    """What the recorder held from `since` to `until` (monotonic ns); `clock` is the time of day at `until` (s).

    `reaches` is the time of the oldest entry, None if there is none.
    """

    since: int
    until: int
    clock: float
    reaches: int | None
    pieces: Sequence[PackedPiece]

    def events(self) -> list[RecordedEvent]:  # any thread
        """What happened, by time; events of the same time in the order of the recording."""
        found = [_past(entry) for entry in self._entries() if entry[0] >= self.since and entry[1] != _STOOD]
        found.sort(key=lambda past: past.at)
        return found

    def scene(self) -> Scene | None:  # any thread
        """The scene in force at `since`, or at the oldest entry if that is later; None if there was none yet."""
        in_force = self.pieces[0].scene if self.pieces else None
        for at, what, thing in self._entries():
            if what == _SCENE and at < self.since and isinstance(thing, tuple):
                in_force = (thing[0], thing[1])
        return in_force

    def in_force(self) -> list[Passed]:  # any thread
        """What was in force at `since`, as far as the recorder reaches."""
        earlier = (_passed(port, thing) for at, port, thing in self._entries() if at < self.since)
        place = self.pieces[0].place if self.pieces else None
        return in_force((each for each in earlier if each is not None), place)

    def _entries(self) -> Iterator[_Entry]:
        for piece in self.pieces:
            yield from marshal.loads(piece.packed)


class FlightRecorder:
    """Keeps at most `most_events` entries in about `most_bytes`, and drops the oldest beyond that. Loop only."""

    def __init__(self, most_events: int = 1 << 20, most_bytes: int = 32 << 20) -> None:
        self._most_events = most_events
        self._most_bytes = most_bytes
        self.piece = max(1, min(_MOST, most_events // 16))
        self.tidy_from = min(_PIECE, self.piece)  # entries in `fresh` from which `tidy` is to be called
        self.pieces: deque[PackedPiece] = deque()
        self._packed_events = 0
        self._packed_bytes = 0
        #: What is not packed yet. Who passes a message to or from the core appends it here: the time (monotonic ns) at
        #: which the core took it up or gave it, the input's index or ~ the output's, and the message; and calls `pack`
        #: if the message is longer than SHORT, or `piece` entries are here. That is part of every message's way.
        self.fresh: list[_Entry] = []
        self._commands: list[tuple[int, Command, str]] = []  # where in `fresh` they have their places; not encoded yet
        self._long = 0  # bytes of messages longer than three bytes in `fresh`
        self._scene: Scene | None = None
        self._scene_before: Scene | None = None  # the one in force when `fresh` began
        self._place: Place | None = None
        self._place_before: Place | None = None

    def scene(self, at: int, number: int, name: str) -> None:
        """A scene came into force at this time (monotonic ns)."""
        self._scene = (number, name)
        self.fresh.append((at, _SCENE, self._scene))
        self.pack(len(name))

    def stood(self, at: int, place: Place) -> None:
        """Where the show is at this time (monotonic ns)."""
        if place != self._place or [*place["players"]] != [*self._place["players"]]:
            self._place = place
            self.fresh.append((at, _STOOD, place))
            self.pack(0)

    def told(self, at: int, text: str) -> None:
        """Something was reported to the player at this time (monotonic ns)."""
        self.fresh.append((at, _TOLD, text))
        self.pack(len(text))

    def did(self, at: int, what: str, *details: Any) -> None:
        """Something else that decides what goes out: the start, what a driver did. `details` must be fit for JSON."""
        self.fresh.append((at, _DID, (what, *details)))
        self.pack(sum(len(each) for each in details if isinstance(each, str)))

    def applied(self, at: int, command: Command, who: str) -> None:
        """The engine was given this command at this time (monotonic ns)."""
        if isinstance(command, PlayerCommand):  # short; it is encoded when there is time
            self._commands.append((len(self.fresh), command, who))
            self.fresh.append((at, _DID, ()))
            self.pack(0)
        else:
            done = _done(command, who)
            self.fresh.append((at, _DID, done))
            self.pack(_octets(done[2]))

    def ticked(self, at: int) -> None:
        """The engine did what was due at this time (monotonic ns)."""
        fresh = self.fresh
        fresh.append((at, _TICK, b""))
        if len(fresh) >= self.piece:
            self.pack(0)

    def last(self, now: int, seconds: float) -> RecorderSnapshot:
        """What happened in the last `seconds` before `now` (monotonic ns), as far back as the recorder reaches."""
        pieces = [*self.pieces]
        if self.fresh:
            pieces.append(self._packed())
        reaches = pieces[0].begins if pieces else None
        return RecorderSnapshot(now - round(seconds * _NS), now, time.time(), reaches, pieces)

    def size(self) -> dict[str, int]:
        """What is recorded now: events, the memory they take (bytes, about), and seconds from the first to the last."""
        first = self.pieces[0].begins if self.pieces else self.fresh[0][0] if self.fresh else 0
        newest = self.fresh or (marshal.loads(self.pieces[-1].packed) if self.pieces else [(first, 0, b"")])
        return {
            "events": self._packed_events + len(self.fresh),
            "bytes": self._packed_bytes + self._long + _ENTRY * len(self.fresh),
            "seconds": (newest[-1][0] - first) // _NS,
        }

    def pack(self, octets: int) -> None:
        """If `fresh` is a full piece, or has too many long messages, it cannot wait until there is time: pack it.

        `octets`: the length of what was appended last.
        """
        if octets > SHORT:
            self._long += octets
        if len(self.fresh) >= self.piece or self._long >= _LONG:
            self.tidy()

    def tidy(self) -> None:
        """Pack `fresh`, and drop the oldest pieces if need be."""
        piece = self._packed()
        self.fresh = []
        self._long = 0
        self._scene_before, self._place_before = self._scene, self._place
        self.pieces.append(piece)
        self._packed_events += piece.entries
        self._packed_bytes += len(piece.packed)
        self._drop_oldest()

    def _packed(self) -> PackedPiece:
        fresh = self.fresh
        for place, command, who in self._commands:
            fresh[place] = fresh[place][0], _DID, _done(command, who)
        self._commands.clear()
        packed = marshal.dumps(fresh, _PACKING)
        return PackedPiece(len(fresh), fresh[0][0], self._scene_before, self._place_before, packed)

    def _drop_oldest(self) -> None:
        pieces, room = self.pieces, self._most_events - self.piece + 1
        while len(pieces) > 1 and (self._packed_events > room or self._packed_bytes > self._most_bytes):
            oldest = pieces.popleft()
            self._packed_events -= oldest.entries
            self._packed_bytes -= len(oldest.packed)


def _done(command: Command, who: str) -> tuple[str, str, dict[str, Any], str]:
    """A command as it is recorded."""
    return "apply", command.word, encode(command), who


def _octets(value: Any) -> int:
    """About how many bytes of memory a command's long fields take."""
    if isinstance(value, dict):
        return sum(map(_octets, value.values()))
    return sum(map(_octets, value)) if isinstance(value, list) else len(value) if isinstance(value, str) else 0


def _passed(port: int, thing: bytes | str | tuple[Any, ...] | Place) -> Passed | None:
    """A message, or a place of the show; None for all else."""
    if isinstance(thing, dict):
        return thing
    return (port, thing) if isinstance(thing, bytes) and port < _SCENE else None


def _past(entry: _Entry) -> RecordedEvent:
    at, what, thing = entry
    if what >= _DID:
        return RecordedEvent(
            at, "did", 0, b"", json.dumps(thing if isinstance(thing, tuple) else ("tick",), ensure_ascii=False)
        )
    if isinstance(thing, bytes):
        return RecordedEvent(at, "in", what, thing, "") if what >= 0 else RecordedEvent(at, "out", ~what, thing, "")
    if isinstance(thing, tuple):
        return RecordedEvent(at, "scene", thing[0], b"", thing[1])
    assert isinstance(thing, str), "a place of the show is no event"
    return RecordedEvent(at, "told", 0, b"", thing)
