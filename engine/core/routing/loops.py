"""Finds feedback loops: an output that is connected back to an input whose routes lead to that output again.

In a loop, what comes in is what went out a few milliseconds before, again and again. A drum roll, a clock or a
trembling fader can look like that, too, so suspicion alone mutes nothing. It asks a question: a short SysEx under the
non-commercial id, never sent before, goes to each suspected output. Only a cable can send it back. Where it comes in
again, the connection of that input to that output is muted until the cable or the scene changes. Nothing else is ever
held up.

A question that nobody answers proves nothing for the next moment: a cable may be plugged in during the roll, and what
goes round in it may be the roll's own hits. So as long as an input looks like a loop the question is repeated, soon
enough for any loop, and behind the message that raised it, so that a hit does not wait for it on a slow cable.

What goes round also waits where other messages do, in a full cable or before a computer that cannot keep up, and a loop
fills both by itself. So the time that a round may take grows by the time for which messages wait there.

The first look at each message is in `Engine`, for it is part of every message's way.
"""

from collections.abc import Iterable, Sequence
from itertools import count
from typing import Final, NamedTuple

from engine.core.routing.routed_message import RoutedMessage, without
from engine.midi.kinds import FIRST_REAL_TIME

_MS: Final = 1_000_000
WINDOW: Final = 30 * _MS  # the longest round trip that counts as a loop, if nothing waits
_OVERTAKEN: Final = 2  # a value waits on a full cable about twice as long as a note, for notes go first
_SOME_TIME: Final = 30 * _MS  # that messages wait before a round may take longer: after a moment's work all is well
_NO_MORE: Final = 100 * _MS  # after which messages that were told to wait do so no longer
_LONGEST_WAIT: Final = 10_000 * _MS  # longer waits than this are not allowed for: a full queue of ours takes no longer
_LONG_AGO: Final = -100_000 * _MS  # when nothing has happened yet
_NEAREST: Final = _MS // 5  # no driver returns a message faster
_JITTER: Final = 3 * _MS // 2
_WINDOW_REAL_TIME: Final = 5 * _MS  # clocks at 500 beats per minute are no further apart
_LONG_ENOUGH: Final = 55 * _MS  # of going round; the question must be answered within a tenth of a second
_ROUNDS: Final = 3  # at least, in that time
_ENOUGH: Final = 16  # rounds that are enough in a shorter time
_ALMOST_ALL: Final = 95  # per cent of what comes in
_MOSTLY: Final = 60
_NOTHING: Final = (0, 0, 0)
_MANY: Final = 96  # messages met again in one window that are enough, for a loop that multiplies
_MANY_REAL_TIME: Final = 12  # as many as a clock at 1,000 beats per minute
_AGAIN: Final = 60 * _MS  # before the question is repeated while an input goes on looking like a loop
_AMONG_MANY: Final = 4  # messages met in two windows, almost all of what comes in, that are enough
_ECHOES: Final = 100 * _MS  # after a loop was found, in which copies that were on their way still come in
_FORGOTTEN: Final = 2000 * _MS  # an answer to a question comes no later

#: F0 7D (non-commercial), two letters, 00: a question of ours; then its number and F7
QUESTION: Final = b"\xf0\x7d\x62\x6c\x00"
_NUMBERS: Final = 1 << 14

# A message that was sent: when, how many rounds its cause had made, when the first began.
_Mark = tuple[int, int, int]


class _Asked(NamedTuple):
    """A question: which input was suspected, which output was asked and when, and the inputs it came by."""

    source: int
    output: int
    at: int
    passed: set[int]


class LoopQuestion(NamedTuple):
    """A question for an output; `again`: this input was asked about just before, and nothing came back."""

    output: int
    message: bytes
    again: bool


class LoopFound(NamedTuple):
    """A muted connection: what goes to this output comes back at this input."""

    source: int
    output: int


class Loops:
    """Watches all inputs. Loop only; inputs and outputs are indices, times in nanoseconds."""

    def __init__(self) -> None:
        self.muted: set[tuple[int, int]] = set()  # (input, output)
        self.dropped = 0  # deliveries that muted connections did not carry, and copies of them
        self.questions: list[LoopQuestion] = []  # taken away by the caller
        self._asked: dict[int, _Asked] = {}  # oldest first
        self._asked_at: dict[int, int] = {}  # input -> when it was last asked about
        self._number = count()
        self.sent: dict[bytes, _Mark] = {}  # in this window
        self.sent_before: dict[bytes, _Mark] = {}  # in the one before; a whole window is dropped at once
        # input -> messages that came in during this window, those met again, those that came round as in a loop
        self.tallies: dict[int, list[int]] = {}
        self.tallies_before: dict[int, list[int]] = {}  # in the one before
        self.window_ends = 0
        self._longer = 0  # ns: how much longer a round may take in this window, while messages wait
        self._wait = 0  # ns: for how long messages wait, as was told last
        self._waits_since = self._waits_until = _LONG_AGO  # from when and to when that was told again and again
        self.watched: set[int] = set()  # inputs with a muted connection
        self._found_at: dict[int, int] = {}  # input -> when a loop was last found there

    def messages_wait(self, now: int, time: int) -> None:
        """They do so for this long (ns) on their way in and out."""
        if now - self._waits_until >= _NO_MORE:
            self._waits_since = now
        self._waits_until = now
        self._wait = time

    def begin_window(self, now: int) -> None:
        """Forget what was sent before the last window."""
        self.sent_before, self.sent = self.sent, {}
        self.tallies_before, self.tallies = self.tallies, {}
        waited = self._waits_until - self._waits_since
        self._longer = min(_OVERTAKEN * self._wait, _LONGEST_WAIT) if waited >= _SOME_TIME else 0
        self.window_ends = now + WINDOW + self._slack(now)

    def look_closer(
        self, now: int, source: int, message: bytes, answer: RoutedMessage, mark: _Mark | None
    ) -> RoutedMessage | None:
        """A message came in that went out not long ago (`mark`), or whose input has a muted connection.

        `answer` is what it will be answered with; what is left of that, or None if nothing may be done.
        """
        rounds, since = 0, now
        slack = self._slack(now)
        window = WINDOW + slack if message[0] < FIRST_REAL_TIME else _WINDOW_REAL_TIME
        if mark is not None and now - mark[0] < window:
            since_found = now - self._found_at.get(source, _LONG_AGO)
            if source in self.watched and since_found < _ECHOES + slack:
                self.dropped += 1
                return None
            tally = self.tallies[source]
            tally[1] += 1
            copy = now - mark[0] < _NEAREST  # of what was just sent: another of those that go round
            if copy or _comes_round(now, mark):
                rounds, since = mark[1] + (not copy), mark[2]
                tally[2] += 1
            if now - self._asked_at.get(source, _LONG_AGO) >= _AGAIN + slack:
                lasting = rounds >= _ENOUGH or (rounds >= _ROUNDS and now - since >= _LONG_ENOUGH)
                if self._looks_like_a_loop(source, message[0] >= FIRST_REAL_TIME, lasting, slack > 0):
                    self._suspect(now, source, answer)
        mark = (now, rounds, since)
        for said in answer.said:
            self.sent[said] = mark
        return self._open_ways(source, answer) if source in self.watched else answer

    def hear(self, now: int, source: int, message: bytes) -> tuple[LoopFound | None, bool]:
        """A question came in: the loop that it proves, if any, and whether to pass it on along this input's routes.

        One that comes in elsewhere is on its way through other routes of ours; it need not go the same way twice.
        """
        asked = self._asked.get(message[5] << 7 | message[6]) if len(message) == len(QUESTION) + 3 else None
        if asked is None or now - asked.at > _FORGOTTEN + self._slack(now) or source in asked.passed:
            return None, False
        asked.passed.add(source)
        if source != asked.source:
            return None, True
        way = (source, asked.output)
        if way in self.muted:
            return None, False
        if any(self._found_at.get(other, 0) > asked.at for other in asked.passed - {source}):
            # in a loop of two inputs both are asked about: the mute at the other may be enough, so look once more
            self._asked_at.pop(source, None)
            return None, False
        self.muted.add(way)
        self.watched.add(source)
        self._found_at[source] = now
        return LoopFound(*way), False

    def open_outputs(self, source: int, outputs: Iterable[int]) -> list[int]:
        """Those of these outputs whose connection from this input is not muted."""
        return [output for output in outputs if (source, output) not in self.muted]

    def lift(self, source: int | None = None, output: int | None = None) -> None:
        """The scene has changed, or the cable of this input or output: what was muted there is tried again."""
        self.muted = {way for way in self.muted if source not in (None, way[0]) or output not in (None, way[1])}
        self.watched = {way[0] for way in self.muted}

    def _slack(self, now: int) -> int:
        """How much longer (ns) than at rest a round may take now."""
        return self._longer if now - self._waits_until < _NO_MORE else 0

    def _looks_like_a_loop(self, source: int, real_time: bool, lasting: bool, waits: bool) -> bool:
        """`lasting`: one message has gone round often or long enough; `waits`: some may come too late to be met."""
        tally, before = self.tallies[source], self.tallies_before.get(source, _NOTHING)
        if lasting and _share(tally, before, 2) >= (_MOSTLY if real_time or waits else _ALMOST_ALL):
            return True
        met = tally[1] + before[1]
        almost_all = before[1] and before[1] * 100 >= before[0] * _ALMOST_ALL
        if almost_all and met >= _AMONG_MANY and _share(tally, before, 1) >= _ALMOST_ALL:
            return True
        return tally[1] >= (_MANY_REAL_TIME if real_time else _MANY) and _share(tally, before, 1) >= _MOSTLY

    def _suspect(self, now: int, source: int, answer: RoutedMessage) -> None:
        slack = self._slack(now)
        last = self._asked_at.get(source, _LONG_AGO)
        suspected = [output for output, _ in answer.units if (source, output) not in self.muted]
        if not suspected:
            return
        again = now - last < 2 * (_AGAIN + slack)
        self._asked_at[source] = now
        while self._asked and now - next(iter(self._asked.values())).at >= _FORGOTTEN + slack:
            del self._asked[next(iter(self._asked))]
        for output in suspected:
            number = next(self._number) % _NUMBERS
            self._asked.pop(number, None)
            self._asked[number] = _Asked(source, output, now, set())
            self.questions.append(LoopQuestion(output, QUESTION + bytes((number >> 7, number & 0x7F, 0xF7)), again))

    def _open_ways(self, source: int, answer: RoutedMessage) -> RoutedMessage:
        """What is left of an answer without the muted connections."""
        shut = {output for each, output in self.muted if each == source}
        self.dropped += sum(output in shut for output, _ in answer.units)
        return without(answer, shut)


def _share(now: Sequence[int], before: Sequence[int], of: int) -> float:
    """How much (%) of what came in, by these tallies, went out before: in a loop all, in music some by chance."""
    return (now[of] + before[of]) * 100 / (now[0] + before[0])


def _comes_round(now: int, mark: _Mark) -> bool:
    """Whether this may be what was sent then: about as long ago as in the rounds before."""
    at, rounds, since = mark
    age = now - at
    # with a server that hands on once per period, one round can be twice as long as the next
    pace = (at - since) // rounds if rounds else age
    return pace // 2 - _JITTER <= age <= 2 * pace + _JITTER
