"""The one clock and the one time code of a rig: chooses where they come from, and sends them where they go.

The clock comes from the first of its sources that sends one. It goes to the outputs of `[sync.clock]` directly, and no
other clock gets there. Where routes lead several clocks to one output, the first keeps it until it falls silent. Time
code is shown from any source, and recalls the scenes that name a place in it.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from engine.core.cable.output_cable import Unit
from engine.core.rules import RULES, Rules
from engine.core.timing import clock, timecode
from engine.core.timing.clock_outputs import ClockOutputs, Sent
from engine.core.timing.cues import TimecodeCues
from engine.core.timing.sync_settings import INTERNAL, ClockSettings, SyncSettings, TimecodeSettings
from engine.midi.timecode import Label, belongs

_CLOCKS: Final = frozenset({clock.CLOCK, clock.START, clock.CONTINUE, clock.STOP})
_OWNED: Final = 500_000_000  # ns for which an output stays with a routed clock that fell silent


class ShownTimecode(NamedTuple):
    """The time code to show: its label, whether it runs, and its source."""

    label: Label
    running: bool
    source: str


def is_clock(message: bytes) -> bool:
    """Whether this belongs to beat clock: clock, start, continue, stop, song position."""
    return message in _CLOCKS or message[0] == clock.SONG_POSITION


class ClockAndTimecode:
    """Loop only. Inputs and outputs are indices, times in nanoseconds."""

    def __init__(self, settings: SyncSettings, rules: Rules = RULES) -> None:
        self._rules = rules
        self.clock: clock.ClockGenerator | None = None
        self.code: timecode.TimecodeGenerator | None = None
        self.followers: dict[int, clock.ClockFollower] = {}
        self._leader: int | None = None  # the input that is followed; None is our own clock, or nobody
        self._sent_at = -_OWNED  # the last clock of the rig, from any source
        self._switched = False  # to another source that has not sent a clock yet
        self._owners: dict[int, tuple[int, int]] = {}  # output -> the input whose routed clock it has, and since when
        self.readers: dict[int, timecode.TimecodeReader] = {}
        self.cues = TimecodeCues(settings.cues)
        self._code_label: Label | None = None  # where our own time code was when it was last looked at
        self._take_settings(settings)
        self.clock_outputs = ClockOutputs(settings.clock)
        if settings.clock is not None and settings.clock.own:
            self.clock = self._own_clock(settings.clock)
        if settings.timecode is not None and settings.timecode.source is None:
            self.code = timecode.TimecodeGenerator(settings.timecode.rate, settings.timecode.start)
        self.sends = self._may_send()

    def _may_send(self) -> bool:
        """Whether anything may be due to be sent: by our own clock or time code, or behind an offset."""
        return self.clock is not None or self.code is not None or self.clock_outputs.delayed

    def _take_settings(self, settings: SyncSettings) -> None:
        self._settings = settings
        self._sources = settings.clock.sources if settings.clock else ()
        self._code_to = settings.timecode.to if settings.timecode else ()
        self._code_from = settings.timecode.source if settings.timecode else None
        self._code_with_clock = settings.timecode is not None and settings.timecode.with_clock

    def _own_clock(self, settings: ClockSettings) -> clock.ClockGenerator:
        goes_on = self._rules.clock_goes_on
        return clock.ClockGenerator(settings.bpm, idles=goes_on and settings.idles, tells_position=goes_on)

    def begin(self, now: int) -> Sent:
        """The show begins: start what the rig says runs from the start."""
        sent: Sent = []
        settings = self._settings
        if self.clock is not None and settings.clock is not None:
            sent += self._begin_clock(now, self.clock, settings.clock)
        if self.code is not None and settings.timecode is not None and settings.timecode.runs:
            sent += self.start_code(now)
        return sent

    def _begin_clock(self, now: int, own: clock.ClockGenerator, settings: ClockSettings) -> Sent:
        if settings.runs:
            return self._to_clock(now, own.start(now))
        if self._leader is None:
            own.idle(now)
        return []

    # What comes in

    def hear(self, now: int, source: int, message: bytes) -> Sent:
        """A system message of an input: clock, position, time code or SysEx."""
        if is_clock(message):
            return self._hear_clock(now, source, message)
        if message[0] == 0xF1 or message[:1] == b"\xf0":
            return self._hear_code(now, source, message)
        return []

    def _hear_clock(self, now: int, source: int, message: bytes) -> Sent:
        follower = self.followers.setdefault(source, clock.ClockFollower())
        follower.hear(now, message)
        if source not in self._sources:
            return []
        self._choose(now, source)
        if self._leader != source:
            return []
        if message == clock.CLOCK:
            if self._switched and now - self._sent_at < self._shortest(now, follower):
                return []  # the source before it has just sent one
            self._sent_at, self._switched = now, False
        elif message in (clock.START, clock.CONTINUE):
            self._switched = False  # the next clock is the first of the song, however soon it comes
        sent = self._to_clock(now, (message,))
        if self._code_with_clock and self.code is not None:
            if message in (clock.START, clock.CONTINUE):
                sent += self.start_code(now)
            elif message == clock.STOP:
                self.code.stop(now)
        return sent

    def _shortest(self, now: int, follower: clock.ClockFollower) -> float:
        bpm = follower.bpm(now) or (self.clock.bpm if self.clock is not None else None)
        return clock.period(bpm) / 2 if bpm else 0

    def _choose(self, now: int, source: int) -> None:
        """The first source of the list that sends leads; a preferred one takes over once it is steady."""
        if self._leader == source:
            return
        leads = self.followers.get(self._leader) if self._leader is not None else None
        own = self._leader is None and self.clock is not None and self.clock.running
        alive = own or (leads is not None and leads.alive(now))
        better = self._sources.index(source) < self._sources.index(self._leader) if alive else True
        if better and (not alive or self.followers[source].steady):
            self._leader, self._switched = source, True
            if self.clock is not None:
                self.clock.silence()  # the new leader may stop; ours must not go on then

    def _hear_code(self, now: int, source: int, message: bytes) -> Sent:
        reader = self.readers.get(source) or timecode.TimecodeReader()
        step = reader.hear(now, message)
        if message[0] == 0xF1 or step is not None:  # not just any SysEx
            self.readers[source] = reader
        if step is not None and source == self._shown_input():
            self.cues.pass_by(step)
        if source != self._code_from or not belongs(message):
            return []
        return [(output, message) for output in self._code_to]

    # What is due

    @property
    def due(self) -> int | None:
        """When `tick` is next needed, or None."""
        dues = [self.beat, *(reader.due for reader in self.readers.values())]
        if self._leader is not None and self.clock is not None:
            dues.append(self._leader_due())
        return min((due for due in dues if due is not None), default=None)

    @property
    def beat(self) -> int | None:
        """When the next clock or quarter frame is due that must not be late, or None."""
        clock = self.clock.due if self.clock is not None and self._leader is None else None
        code = self.code.due if self.code is not None else None
        return min((due for due in (clock, code, self.clock_outputs.due) if due is not None), default=None)

    def tick(self, now: int) -> Sent:
        """What our own clock and time code send by now; and notice that others have stopped."""
        sent: Sent = []
        self._mind_the_leader(now)
        if self.clock is not None and self._leader is None:
            clocks = self.clock.send(now)
            self._sent_at = now if clocks else self._sent_at
            sent += self._to_clock(now, clocks)
        if self.clock_outputs.due is not None:
            sent += self.clock_outputs.take(now)
        if self.code is not None and self.code.running:
            sent += self._to_code(self.code.send(now))
            if self._code_label is None:  # it has begun to run, however long ago
                self._code_label, _ = self.code.stand(now)
                self.cues.pass_by(timecode.TimecodeStep(None, self._code_label, True))
            before, self._code_label = self._code_label, self.code.label(now)
            if before != self._code_label:
                self.cues.pass_by(timecode.TimecodeStep(before, self._code_label, True))
        for reader in self.readers.values():
            reader.stopped(now)
        return sent

    def _leader_due(self) -> int | None:
        leader = self.followers.get(self._leader) if self._leader is not None else None
        return leader.silent_at if leader is not None else None

    def _mind_the_leader(self, now: int) -> None:
        """When the leader falls silent, our own clock goes on at its tempo, or the next source that sends leads.

        After a stop of the leader our own clock is stopped, too.
        """
        leader = self.followers.get(self._leader) if self._leader is not None else None
        if leader is None or leader.alive(now):
            return
        self._leader = None
        self._replace(now, leader)

    def _replace(self, now: int, leader: clock.ClockFollower) -> None:
        """Our own clock goes on in place of the former leader."""
        if self.clock is None:
            return
        if leader.last_bpm is not None:
            self.clock.take_over(now, leader.last_bpm, leader.position, leader.stopped)
        else:
            self.clock.idle(now)

    # Commands

    def start_code(self, now: int) -> Sent:
        """Run our own time code from where it is."""
        if self.code is None or self.code.running:
            return []
        self._code_label = None
        return self._to_code(self.code.start(now))

    def locate_code(self, now: int, place: Label) -> Sent:
        """Move our own time code there."""
        if self.code is None:
            return []
        sent = self._to_code(self.code.locate(now, place))
        self.cues.pass_by(timecode.TimecodeStep(self._code_label, place, False))
        self._code_label = place
        return sent

    def command_clock(self, now: int, what: str) -> Sent:
        """Our own clock: "start", "continue" or "stop". It leads then; the caller has checked `follows`."""
        if self.clock is None:
            return []
        self._leader = None
        if what == "stop":
            return self._to_clock(now, self.clock.stop())
        return self._to_clock(now, self.clock.start(now) if what == "start" else self.clock.go_on(now))

    def locate_clock(self, now: int, sixteenths: int) -> Sent:
        """Move our own clock there, while it is stopped; the caller has checked `follows`."""
        return self._to_clock(now, self.clock.locate(sixteenths)) if self.clock is not None else []

    def finish(self, now: int) -> Sent:
        """The show ends: send stop, or receivers of our own clock would wait for the next one."""
        if self.code is not None:
            self.code.stop(now)
        sent = self.clock_outputs.finish()
        if self.clock is not None:
            if self._leader is None:
                sent += [(output, message) for message in self.clock.stop() for output in self.clock_outputs.transport]
            self.clock.silence()
        return sent

    def follows(self, now: int) -> str | None:
        """The input whose clock has precedence over our own now, or None."""
        leader = self.followers.get(self._leader) if self._leader is not None else None
        if self._leader is None or leader is None or not leader.alive(now):
            return None
        better = self.clock is None or self._sources.index(self._leader) < self._sources.index(None)
        return self._settings.inputs[self._leader] if better else None

    # An edited rig

    def adopt(self, now: int, settings: SyncSettings) -> Sent:
        """Take the settings of an edited rig, whose ports keep their indices; what still exists runs on."""
        before, leader = self._settings, self._leader
        self._take_settings(settings)
        if leader not in self._sources:
            self._leader = None
        sent = self.clock_outputs.adopt(settings.clock) if settings.clock != before.clock else []
        sent += self._adopt_clock(now, before.clock)
        if self._leader is None and leader is not None:
            self._replace(now, self.followers[leader])
        self.cues.adopt(settings.cues)
        sent += self._adopt_code(now, before.timecode)
        self.sends = self._may_send()
        return sent

    def _adopt_clock(self, now: int, before: ClockSettings | None) -> Sent:
        settings, old = self._settings.clock, self.clock
        outputs = before.transport if before is not None else ()
        sent: Sent = []
        if settings is None or not settings.own:
            self.clock = None
        elif old is None:
            self.clock = self._own_clock(settings)
            if self._leader is None:
                sent += self._begin_clock(now, self.clock, settings)
        else:
            self._adopt_own(now, old, settings, before)
        if old is not None and old.running and self.clock is not old:
            sent += [(output, clock.STOP) for output in outputs]
        elif self._goes():
            sent += [(output, clock.STOP) for output in set(outputs) - set(self.clock_outputs.transport)]
        return sent

    def _adopt_own(
        self, now: int, own: clock.ClockGenerator, settings: ClockSettings, before: ClockSettings | None
    ) -> None:
        if before is None or settings.bpm != before.bpm:
            own.set_bpm(now, settings.bpm)
        if before is not None and settings.idles != before.idles:
            own.set_idles(now, self._rules.clock_goes_on and settings.idles)

    def _goes(self) -> bool:
        return bool(self.clock is not None and self.clock.running) or self._leader is not None

    def _adopt_code(self, now: int, before: TimecodeSettings | None) -> Sent:
        settings, old = self._settings.timecode, self.code
        if settings is None or settings.source is not None:
            self.code = self._code_label = None
            return []
        if old is not None and before is not None and (before.rate, before.start) == (settings.rate, settings.start):
            return []
        self.code, self._code_label = timecode.TimecodeGenerator(settings.rate, settings.start), None
        return self.start_code(now) if settings.runs else []

    # What is shown

    def bpm(self, now: int) -> float | None:
        """The rig's tempo; without a clock of its own, that of the first input that sends one."""
        if self._leader is not None:
            return self.followers[self._leader].bpm(now)
        if self.clock is not None and self.clock.running:
            return self.clock.bpm
        heard = [follower.bpm(now) for follower in self.followers.values() if follower.alive(now)]
        return next((bpm for bpm in heard if bpm is not None), self.clock.bpm if self.clock else None)

    def clock_source(self, now: int) -> str | None:
        """Where the rig's clock comes from now: an input, "internal", or None."""
        if self._leader is not None:
            return self._settings.inputs[self._leader]
        if self.clock is not None and self.clock.running:
            return INTERNAL
        alive = (source for source, follower in self.followers.items() if follower.alive(now))
        return next((self._settings.inputs[source] for source in alive), None)

    def shown(self, now: int) -> ShownTimecode | None:
        """The time code to show, or None."""
        if self.code is not None:
            return ShownTimecode(self.code.label(now), self.code.running, INTERNAL)
        source = self._shown_input()
        reader = self.readers.get(source) if source is not None else None
        if source is None or reader is None or reader.label is None:
            return None
        return ShownTimecode(reader.label, reader.running, self._settings.inputs[source])

    # Two clocks

    def let_through(
        self, now: int, source: int, message: bytes, units: Iterable[tuple[int, Unit]]
    ) -> list[tuple[int, Unit]]:
        """What of a routed clock goes to outputs that have no other clock."""
        passing = []
        for output, unit in units:
            owner, at = self._owners.get(output, (source, now))
            if output in self.clock_outputs.to or (owner != source and now - at < _OWNED):
                continue
            self._owners[output] = (source, now)
            passing.append((output, unit))
        return passing

    def _shown_input(self) -> int | None:
        if self.code is not None:
            return None
        return self._code_from if self._code_from is not None else next(iter(self.readers), None)

    def _to_clock(self, now: int, messages: Iterable[bytes]) -> Sent:
        return self.clock_outputs.send(now, messages)

    def _to_code(self, messages: Iterable[bytes]) -> Sent:
        return [(output, message) for message in messages for output in self._code_to]
