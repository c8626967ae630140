"""Feedback: an output that is wired back to an input which a route leads to that output again.

Its mark is that what comes in is what went out a few milliseconds before, again and again. A roll on a drum pad, a
clock or a trembling fader can look like that for a while, so suspicion alone mutes nothing. A trial asks for the cause:

1. *listening*: what the input sends to the suspected outputs is held back. If the suspected message comes in all the
   same, it comes from a player; all that was held back is sent, a few milliseconds late.
2. *asking*: silence so far. The first held message is sent to one suspected output after the other. If it comes back
   at the input, the way to that output is muted until the cable or the scene changes; where it does not, all that was
   held back is sent.
"""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

from engine.core.plan import Answer
from engine.core.wire import Unit
from engine.midi.kinds import FIRST_REAL_TIME

_MS: Final = 1_000_000
_WINDOW: Final = 30 * _MS  # the longest way round that counts
_WINDOW_REAL_TIME: Final = 5 * _MS  # clocks of 500 beats a minute are no further apart
_TRUSTED: Final = 1000 * _MS  # after a trial that found nothing
_SHORTEST: Final = 4 * _MS  # of each step of a trial: a reader polls once in a quarter of a millisecond


# A message that was sent: when, how many rounds its cause had made, when the first began, from which input.
_Mark = tuple[int, int, int, int]


@dataclass
class _Trial:
    """One input's trial. `asking` is the place of the output that is asked, or -1 while listening."""

    message: bytes  # what came in too often
    said: frozenset[bytes]  # what is sent for it, and so may come back
    until: int
    patience: int
    held: dict[int, list[Unit]]  # suspected output -> what was held back, oldest first
    asking: int = -1
    guilty: list[int] = field(default_factory=list)


class Verdict(NamedTuple):
    """The end of a trial, or a step of it: what is to be sent now, and which outputs were found guilty."""

    source: int
    sent: list[tuple[int, Unit]]
    guilty: tuple[int, ...] = ()


class Loops:
    """The watch over all inputs. Only the show's loop calls it; inputs and outputs are indices, time is in ns."""

    def __init__(self) -> None:
        self.muted: set[tuple[int, int]] = set()  # (input, output)
        self.dropped = 0  # deliveries that a muted way did not carry
        self.verdicts: list[Verdict] = []  # taken away by the caller after each call
        self._sent: dict[bytes, _Mark] = {}  # in this window
        self._sent_before: dict[bytes, _Mark] = {}  # in the one before: to let go of a whole one costs no search
        self._window_ends = 0
        self._trials: dict[int, _Trial] = {}
        self._trusted: dict[int, int] = {}  # input -> until when
        self._watched: set[int] = set()  # inputs with a trial or a muted way

    @property
    def due(self) -> int | None:
        """When `tick` next has something, or None."""
        return min(trial.until for trial in self._trials.values()) if self._trials else None

    def pass_by(self, now: int, source: int, message: bytes, answer: Answer) -> bool:
        """A message came in and will be answered so; whether each delivery is to be asked for with `holds`."""
        if source in self._trials:
            self._meet(now, source, self._trials[source], message)
        if now >= self._window_ends:
            self._sent_before, self._sent = self._sent, {}
            self._window_ends = now + _WINDOW
        earlier = self._sent_before.pop(message, None)
        mark = self._sent.pop(message, earlier)
        rounds, since = 0, now
        if mark is not None and now - mark[0] < (_WINDOW if message[0] < FIRST_REAL_TIME else _WINDOW_REAL_TIME):
            rounds, since = mark[1] + 1, mark[2]
            if rounds > 1:
                self._suspect(now, source, message, answer, mark)
        mark = (now, rounds, since, source)
        for said in answer.said:
            self._sent[said] = mark
        return source in self._watched

    def holds(self, source: int, output: int, unit: Unit) -> bool:
        """Whether this delivery is not to be sent: held back by a trial, or dropped by a muted way."""
        if (source, output) in self.muted:
            self.dropped += 1
            return True
        trial = self._trials.get(source)
        if trial is None or output not in trial.held:
            return False
        trial.held[output].append(unit)
        return True

    def tick(self, now: int) -> None:
        """Steps of trials whose time is over."""
        if not self._trials:
            return
        for source, trial in [each for each in self._trials.items() if each[1].until <= now]:
            self._ask_next(now, source, trial)

    def lift(self, now: int, source: int | None = None, output: int | None = None) -> None:
        """The scene has changed, or the cable of this input or output: what was muted there is tried anew."""
        for tried, trial in list(self._trials.items()):
            if output is None and source in (None, tried):
                self._end(now, tried, trial)
        self.muted = {way for way in self.muted if source not in (None, way[0]) or output not in (None, way[1])}
        self._watch_these()

    def _suspect(self, now: int, source: int, message: bytes, answer: Answer, mark: _Mark) -> None:
        _, rounds, since, before = mark
        pace = (now - since) // (rounds + 1)
        if source in self._trials or rounds + 1 < _rounds_wanted(pace) or now < self._trusted.get(source, 0):
            return
        suspected = [output for output, _ in answer.units if (source, output) not in self.muted]
        if not suspected:
            return
        way = pace if before == source else 3 * pace  # the way round leads through other inputs, too
        patience = max(_SHORTEST, way * 3 // 2)
        held: dict[int, list[Unit]] = {output: [] for output in suspected}
        self._trials[source] = _Trial(message, frozenset((message, *answer.said)), now + patience, patience, held)
        self._watched.add(source)

    def _meet(self, now: int, source: int, trial: _Trial, message: bytes) -> None:
        """The tried input speaks: is it evidence for or against a loop?"""
        if trial.asking < 0:
            if message == trial.message:
                self._end(now, source, trial)
        elif message in trial.said:
            trial.guilty.append(list(trial.held)[trial.asking])
            self._ask_next(now, source, trial)

    def _ask_next(self, now: int, source: int, trial: _Trial) -> None:
        trial.asking += 1
        suspected = list(trial.held)
        if trial.asking == len(suspected):
            self._end(now, source, trial)
            return
        output = suspected[trial.asking]
        trial.until = now + trial.patience
        units = trial.held[output]
        self.verdicts.append(Verdict(source, [(output, units.pop(0))] if units else []))

    def _end(self, now: int, source: int, trial: _Trial) -> None:
        del self._trials[source]
        sent = [(output, unit) for output, units in trial.held.items() if output not in trial.guilty for unit in units]
        self.muted.update((source, output) for output in trial.guilty)
        if not trial.guilty:
            self._trusted[source] = now + _TRUSTED
        self._watch_these()
        self.verdicts.append(Verdict(source, sent, tuple(trial.guilty)))

    def _watch_these(self) -> None:
        self._watched = {source for source, _ in self.muted} | set(self._trials)


def _rounds_wanted(pace: int) -> int:
    """Rounds before a trial begins: a loop must be found within a tenth of a second, however long its way is."""
    return 2 if pace >= 10 * _MS else 4 if pace >= 3 * _MS else 8
