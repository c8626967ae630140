"""An input and an output on the one client: stamped where they arrive, sent to the frame, gone when they are parted."""

import time
from collections.abc import Callable
from typing import Final

from engine.midi.byte_stream import StreamParser
from engine.ports.driver_limits import LONGEST_IN_PIECES, jack_flow
from engine.ports.jack_client.watched_client import WatchedJackClient
from engine.ports.port import DriverFlow, MessagesLost, PortError, PortGone

_OPEN_SYSEX: Final = 5_000_000_000  # ns without a byte after which an unfinished SysEx is abandoned
#: ns after a change for which a connection is looked at again and again, since the server shows its end a period late;
#: between two such looks; and between two where nothing changes
_UNCERTAIN: Final = 500_000_000
_SOON: Final = 5_000_000
_LATER: Final = 1_000_000_000


class JackTie:
    """Whether a port is there and still connected to the one it was opened for. Once it is gone it stays gone."""

    def __init__(self, client: WatchedJackClient, place: int, other: str | None) -> None:
        """`other`: the port it is connected to; None for one of our own, which anybody may connect to."""
        self._client = client
        self._native = client.native
        self._place = place
        self._other = other
        self._seen = client.native.changes
        self._again_at = 0
        self._uncertain_until = 0  # 0 if nothing has changed since that was over
        self._gone = False

    def check(self) -> None:
        """Raise PortGone if it is gone."""
        now = time.monotonic_ns()
        if self._native.changes != self._seen:
            self._seen = self._native.changes
            self._again_at, self._uncertain_until = now, now + _UNCERTAIN
        if now >= self._again_at or self._gone:
            self._look(now)

    def check_change(self) -> None:
        """The same, for each message that is sent: while nothing has changed it takes no time."""
        if self._gone or self._uncertain_until or self._native.changes != self._seen:
            self.check()

    def patience(self, seconds: float) -> float:
        """How long (s) a wait may be that could last as long as this: a port's end is not shown at once."""
        return min(seconds, _SOON / 1e9) if self._uncertain_until else seconds

    def _look(self, now: int) -> None:
        uncertain = now < self._uncertain_until
        if not uncertain:
            self._uncertain_until = 0
        self._again_at = now + (_SOON if uncertain else _LATER)
        self._client.check()
        if self._other is not None:
            self._gone = self._gone or not self._client.native.connected(self._place, self._other)
            if self._gone:
                raise PortGone(f'"{self._other}" was unplugged')


class JackInput:
    """An InputPort at a place of the client: a StampedInput and an AwaitedInput."""

    def __init__(self, name: str, client: WatchedJackClient, place: int, other: str | None) -> None:
        self.name = name
        self.stream = StreamParser()
        self._client = client
        self._native = client.native
        self._place: int | None = place
        self._tie = JackTie(client, place, other)
        self._take: Callable[[list[tuple[int, bytes]]], None] | None = None
        self._heard_at = 0
        self._lost = 0
        self._lost_some = False

    @property
    def open(self) -> bool:  # any thread
        """Whether it has not been closed."""
        return self._place is not None

    def hand_to(self, take: Callable[[list[tuple[int, bytes]]], None]) -> None:
        """See StampedInput."""
        self._take = take

    def poll(self) -> list[bytes]:
        """See InputPort. PortGone and MessagesLost are raised once everything that had arrived before was read."""
        if self._place is None:
            return []
        if self._lost_some:
            self._report_loss()
        pieces = self._native.read(self._place)
        if pieces:
            return self._hand_over(pieces)
        if self.stream.open and time.monotonic_ns() - self._heard_at > _OPEN_SYSEX:
            self.stream.abandon()
        self._tie.check()
        return []

    def wait(self, seconds: float) -> None:
        """See AwaitedInput."""
        self._client.wait(self._tie.patience(seconds))

    def rouse(self) -> None:
        """See AwaitedInput."""
        self._client.rouse()

    def close(self) -> None:
        """See InputPort."""
        place, self._place = self._place, None
        if place is not None:
            self._client.take_away(place)

    def _hand_over(self, pieces: list[tuple[int, bytes]]) -> list[bytes]:
        feed = self.stream.feed
        events = [(at, message) for at, piece in pieces for message in feed(piece)]
        self._heard_at = time.monotonic_ns()
        assert self._place is not None
        lost = self._native.lost(self._place)
        self._lost_some, self._lost = lost != self._lost, lost
        if self._take is None:
            return [message for _, message in events]
        if events:
            self._take(events)
        return []

    def _report_loss(self) -> None:
        self._lost_some = False
        self.stream.abandon()  # the rest of a SysEx may be among what was lost
        raise MessagesLost(f'"{self.name}" sent more than its queue or the server holds; some may be lost')


class JackOutput:
    """An OutputPort at a place of the client."""

    longest: int | None = LONGEST_IN_PIECES

    def __init__(self, name: str, client: WatchedJackClient, place: int, other: str | None) -> None:
        self.name = name
        self.flow: DriverFlow | None = jack_flow(client.native.period)
        self._client = client
        self._native = client.native
        self._place: int | None = place
        self._tie = JackTie(client, place, other)
        self._lost = 0

    @property
    def open(self) -> bool:  # any thread
        """Whether it has not been closed."""
        return self._place is not None

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        place = self._place
        if place is None:
            raise PortError(f'"{self.name}" is closed')
        if len(message) > LONGEST_IN_PIECES:
            raise PortError(
                f'"{self.name}" takes at most {LONGEST_IN_PIECES} bytes per message; one of {len(message)} was not sent'
            )
        self._tie.check_change()
        if not self._native.send(place, message, at):
            self._client.check()
            raise PortError(f'"{self.name}" is full: what was sent before has not been taken yet')

    def check(self) -> None:
        """See OutputPort. Raises PortError, once, if the server had no room for messages."""
        if self._place is None:
            return
        self._tie.check()
        lost = self._native.lost(self._place) - self._lost
        if lost:
            self._lost += lost
            raise PortError(f'"{self.name}": the server had no room for {lost:,} messages, which are lost')

    def close(self) -> None:
        """See OutputPort."""
        place, self._place = self._place, None
        if place is not None:
            self._client.take_away(place)
