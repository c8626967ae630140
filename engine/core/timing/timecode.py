"""Reads and sends time code: quarter frames and full messages (RP-004/RP-008, version 4.2.1).

Eight quarter frames spell a label while two frames go by, so that a reader running forwards is two frames behind what
it has just read; running backwards it is not (p. 3). It trusts a label after a whole run of eight in order.
"""

from typing import Final, NamedTuple

from engine.midi.timecode import Label, Rate, from_full_frame, from_nibbles, full_frame, is_dropout, quarter_frames

STOPPED_AFTER: Final = 400_000_000  # ns without a quarter frame; reported within half a second
_PIECES: Final = 8
_FRAMES: Final = 2  # in eight quarter frames
_CATCH_UP: Final = 4  # quarter frames that may be sent at once after a stall; beyond that the place is sent again


class TimecodeStep(NamedTuple):
    """Where a message led: from this label (None at first) to that one, by running there or by a jump.

    Both are the same when it begins to run.
    """

    before: Label | None
    label: Label
    ran: bool


class TimecodeReader:
    """Follows the time code of one input. Times in nanoseconds."""

    def __init__(self) -> None:
        self.label: Label | None = None  # where it is, or stopped
        self.direction = 1  # -1 in reverse
        self._heard_at: int | None = None  # the last quarter frame; None while not running
        self._starts = False  # with this quarter frame
        self._nibbles = [0] * _PIECES
        self._piece = 0  # the last one
        self._run = 0  # pieces in order up to it
        self._group: Label | None = None  # the label that the present eight quarter frames spell

    @property
    def due(self) -> int | None:
        """When `stopped` may next find something, or None."""
        return None if self._heard_at is None else self._heard_at + STOPPED_AFTER

    @property
    def running(self) -> bool:
        """Whether quarter frames arrive."""
        return self._heard_at is not None

    def stopped(self, now: int) -> bool:
        """Whether it has just stopped; its place is kept."""
        if self._heard_at is None or now - self._heard_at < STOPPED_AFTER:
            return False
        self._heard_at = None
        self._run = 0
        return True

    def hear(self, now: int, message: bytes) -> TimecodeStep | None:
        """A quarter frame or any SysEx; where it led, if anywhere."""
        if message[0] != 0xF1:
            return self._locate(message)
        piece, nibble = message[1] >> 4, message[1] & 0x0F
        if self._heard_at is None or now - self._heard_at >= STOPPED_AFTER:
            self._run = 0
        self._starts, self._heard_at = self._heard_at is None, now
        wrapped = self._follow(piece)
        self._nibbles[piece] = nibble
        if self._run >= _PIECES and piece == (7 if self.direction > 0 else 0):
            return self._spelt()
        if self._group is None:
            return None
        if wrapped:
            self._group = self._group.plus(self.direction * _FRAMES)
        return self._go(self._group.plus(piece // 4), ran=True)

    def _follow(self, piece: int) -> bool:
        """Which way it runs; whether a new group of eight has begun without the last piece of the one before."""
        before, self._piece = self._piece, piece
        ahead = (piece - before) % _PIECES
        if self._run and ahead in (1, _PIECES - 1):
            direction = 1 if ahead == 1 else -1
            self._run = self._run + 1 if direction == self.direction or self._run == 1 else 2
            self.direction = direction
        else:
            self._run = 1
        if self.direction > 0:
            return piece < before
        return piece > before

    def _spelt(self) -> TimecodeStep | None:
        spelt = from_nibbles(self._nibbles)
        if spelt is None:
            self._run = 0
            return None
        group = spelt.plus(_FRAMES) if self.direction > 0 else spelt
        expected = self._group.plus(_FRAMES) if self._group is not None and self.direction > 0 else self._group
        ran = expected is not None and expected.rate == group.rate and abs(group.after(expected)) <= _FRAMES
        # forwards, the next piece is the first of the group that begins now; `hear` must not move on once more
        self._group = group.plus(-_FRAMES) if self.direction > 0 else group
        return self._go(group, ran)

    def _locate(self, message: bytes) -> TimecodeStep | None:
        label = from_full_frame(message)
        if label is None and not is_dropout(message):
            return None
        self._heard_at = None
        self._run = 0
        if label is None:
            return None
        self._group = label
        self._piece = 0
        self.direction = 1
        return self._go(label, ran=False)

    def _go(self, label: Label, ran: bool) -> TimecodeStep | None:
        before, self.label = self.label, label
        return None if label == before and ran and not self._starts else TimecodeStep(before, label, ran)


class TimecodeGenerator:
    """Sends time code of one rate, from any place. Its times are computed from where it began, so it never drifts."""

    def __init__(self, rate: Rate, start: Label) -> None:
        self.rate = rate
        self._place = start  # where it began to run, or is stopped
        self._began_at: int | None = None
        self._sent = 0  # quarter frames since it began

    @property
    def running(self) -> bool:
        """Whether it sends quarter frames."""
        return self._began_at is not None

    @property
    def due(self) -> int | None:
        """When `send` next has something, or None."""
        return None if self._began_at is None else self._began_at + self.rate.nanoseconds(self._sent)

    def start(self, now: int) -> list[bytes]:
        """Run from where it is; sends the place first."""
        if self._began_at is not None:
            return []
        self._began_at, self._sent = now, 0
        return [full_frame(self._place)]

    def stop(self, now: int) -> None:
        """Stop where it is."""
        self._place = self.label(now)
        self._began_at = None

    def locate(self, now: int, place: Label) -> list[bytes]:
        """Go there; if it runs, it runs on from there."""
        self._place = place
        if self._began_at is not None:
            self._began_at, self._sent = now, 0
        return [full_frame(place)]

    def label(self, now: int) -> Label:
        """Where it is."""
        if self._began_at is None:
            return self._place
        return self._place.plus(self.rate.quarters(max(0, now - self._began_at)) // 4)

    def follow(self, now: int, place: Label, runs_for: int | None) -> None:
        """Be where another generator is; see `stand`."""
        self._place = place
        self._began_at = None if runs_for is None else now - runs_for
        self._sent = 0 if runs_for is None else self.rate.quarters(max(0, runs_for)) + 1

    def stand(self, now: int) -> tuple[Label, int | None]:
        """Where it began to run and for how long it has run (ns); where it is stopped, and None."""
        return self._place, None if self._began_at is None else now - self._began_at

    def send(self, now: int) -> list[bytes]:
        """The quarter frames that are due by now; after a stall, the place instead."""
        if self._began_at is None:
            return []
        due = self.rate.quarters(now - self._began_at) + 1 if now >= self._began_at else 0
        if due - self._sent > _CATCH_UP:
            return self._catch_up(now, due)
        sent = [self._piece(number) for number in range(self._sent, due)]
        self._sent = max(self._sent, due)
        return sent

    def _catch_up(self, now: int, due: int) -> list[bytes]:
        # the next group of eight must begin with its first piece, or no reader could complete it
        self._sent = -(-(due + self._offset) // _PIECES) * _PIECES - self._offset
        return [full_frame(self.label(now))]

    @property
    def _offset(self) -> int:
        """Pieces of the first group to leave out: except at 25 fps, a group's first frame has an even number (p. 2)."""
        return 4 if self.rate.frames != 25 and self._place.parts[3] % 2 else 0

    def _piece(self, number: int) -> bytes:
        group, piece = divmod(number + self._offset, _PIECES)
        return quarter_frames(self._place.plus(group * _FRAMES - self._offset // 4))[piece]
