"""Where messages go by the scene in force, and what the cables do: the half of the bay that no player commands.

No I/O and no clock: each call takes the time in nanoseconds of any monotonic clock and returns, or appends to `out`,
what is to be handed to the drivers now, as (output, message, time its first byte is on the cable).
"""

from collections.abc import Iterable, Mapping, Sequence

from engine.core.cable.output_cable import BurstUnit, Delivery, OutputCable, Unit
from engine.core.cable.program_burst import compile_setup
from engine.core.cable.remote_cable import RemoteCable
from engine.core.cable.scheduler import Cable
from engine.core.cable.silencing_messages import SWEEP, WHEELS
from engine.core.cable.speed import CableSpeed, pace
from engine.core.routing.active_sensing import SENSE, ActiveSensing
from engine.core.routing.compiled_scene import PRESS, RELEASE, CompiledScene, RoutedMessage, TimedMessage, without
from engine.core.routing.delayed_messages import NOBODY, DelayedMessages, DueMessage, player
from engine.core.routing.ledger import Ledger, Target, moves_of
from engine.core.routing.loops import QUESTION, Loops
from engine.core.timing.sync import ClockAndTimecode, is_clock
from engine.midi.kinds import NOTE_OFF, NOTE_ON, SYSEX, is_press, is_release
from engine.rig.models.rig import Rig


class Router:
    """Inputs and outputs are indices: their places in `inputs` and `outputs`. Loop only.

    The rig's own come in its order; an edited rig keeps the places of the names it had (see `succession`).
    """

    def __init__(
        self,
        rig: Rig,
        speeds: Mapping[str, CableSpeed | None],
        names: tuple[Sequence[str], Sequence[str]],
        far: Iterable[str],
    ) -> None:
        """See Bay."""
        self.rig = rig
        self.inputs = tuple(dict.fromkeys((*names[0], *rig.inputs)))
        self.outputs = tuple(dict.fromkeys((*names[1], *rig.outputs)))
        self.plan: CompiledScene | None = None  # the compiled scene in force
        self.news: list[tuple[str, str]] = []  # (port, sentence) of what happened unasked, taken away by the caller
        self.ledger = Ledger()
        self.loops = Loops()
        self.timetable = DelayedMessages()
        self.sync = ClockAndTimecode(rig, self.inputs, self.outputs)
        self.far = frozenset(far)
        self.cables: list[OutputCable] = [
            self._cable(index, name, speeds.get(name)) for index, name in enumerate(self.outputs)
        ]
        self.sensing = ActiveSensing(
            self.outputs.index(name) for name, port in rig.outputs.items() if port.active_sensing
        )
        self.setups = compile_setup(rig, {name: index for index, name in enumerate(self.outputs)})
        self.leaving: set[int] = set()  # outputs that are let go of: nothing more is sent there but what ends something

    def _cable(self, index: int, name: str, driver: CableSpeed | None) -> OutputCable:
        speed = pace(self.rig.outputs.get(name), driver)
        return RemoteCable(index, speed) if name in self.far else Cable(index, speed)

    # Messages

    def _hear(self, now: int, source: int, message: bytes, out: list[Delivery]) -> bool:
        """What a message is beside music: a sign of life, the time, our own question; True if nothing else."""
        sensing, due = self.sensing, self.timetable.due
        if source in sensing.heard_at:
            sensing.heard_at[source] = now
        if sensing.silent:
            sensing.silent.discard(source)
        if due is not None and due <= now:
            self._send_due(now, out)
        return message[0] >= SYSEX and self._hear_system(now, source, message, out)

    def _hear_system(self, now: int, source: int, message: bytes, out: list[Delivery]) -> bool:
        if message == SENSE:
            self.sensing.heard_at[source] = now
        elif message.startswith(QUESTION):
            self._hear_question(now, source, message, out)
            return True
        self._put_all(now, self.sync.hear(now, source, message), out)
        return False

    def tick(self, now: int) -> list[Delivery]:
        """What has waited for this time."""
        out: list[Delivery] = []
        self._put_all(now, self.sync.tick(now), out)
        self._send_due(now, out)
        for source in self.sensing.silenced(now):
            self.news.append(
                (self.inputs[source], "fell silent (no active sensing for 330 ms); its notes are released")
            )
            out += self._let_go(now, source)
        for output in self.sensing.wanted(now):
            self.cables[output].put(now, (SENSE,), out)
        for cable in self.cables:
            if cable.due is not None and cable.due <= now:
                cable.flush(now, out)
        return out

    @property
    def due(self) -> int | None:
        """When `tick` is next wanted, or None."""
        return min(self._dues(), default=None)

    def _dues(self) -> list[int]:
        dues = [cable.due for cable in self.cables if cable.due is not None]
        for due in (self.sensing.due, self.timetable.due, self.sync.due):
            if due is not None:
                dues.append(due)
        return dues

    @property
    def waiting(self) -> bool:
        """Whether anything that came in or was asked for has not been handed over yet."""
        return self.timetable.due is not None or any(cable.due is not None for cable in self.cables)

    def _route(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        plan = self.plan
        if plan is None:
            return
        loops, timetable, cables = self.loops, self.timetable, self.cables
        answer = loops.pass_by(now, source, message, plan.answer(source, message, now))
        if loops.questions:
            self._ask(now, out)
        if answer is None:
            return
        if self.leaving:
            answer = without(answer, self.leaving)
        units: Iterable[tuple[int, Unit]] = answer.units
        if answer.kind == RELEASE:
            units = self._released(source, message, answer)
        elif answer.kind == PRESS:
            for output, _ in units:
                if cables[output].full:
                    answer = self._where_room_is(answer)
                    units = answer.units
                    break
            self.ledger.press(source, message, answer.targets)
        if message[0] >= SYSEX:
            if message == SENSE:
                self.sensing.carry(now, (output for output, _ in answer.units))
            elif is_clock(message):
                units = self.sync.let_through(now, source, message, units)
        if timetable.due is not None:
            timetable.outdate(source, answer.units)
        if answer.noted:
            self._note(source, message, answer)
        for output, unit in units:
            cables[output].put(now, unit, out)

    def _note(self, source: int, message: bytes, answer: RoutedMessage) -> None:
        # What was moved and selected, and what is to be sent later.
        self.ledger.move(source, message, answer.moves)
        for output, selecting in answer.selects:
            self.ledger.select(output, selecting)
        for timed in answer.later:
            self.timetable.add(source, timed)

    def _released(self, source: int, message: bytes, answer: RoutedMessage) -> Iterable[tuple[int, Unit]]:
        """A release goes where its press went; what else the scene makes of it goes its own way."""
        offs = self.ledger.release(source, message)
        if offs is not None:
            return [(output, (off,)) for output, off in offs] + [*answer.others]
        passing = (
            (output, tuple(item for item in unit if not is_release(item) or self._may_pass(source, output, item)))
            for output, unit in answer.units
        )
        return ((output, unit) for output, unit in passing if unit)

    def _where_room_is(self, answer: RoutedMessage) -> RoutedMessage:
        """A full wire begins no note, so that what waits there is never more releases than notes."""
        shed = {output for output, _ in answer.units if self.cables[output].full}
        for output, unit in answer.units:
            self.cables[output].counts.shed += len(unit) * (output in shed)
        return without(answer, shed)

    def _may_pass(self, source: int, output: int, off: bytes) -> bool:
        """A release without a press passes, unless another player holds that key, or nobody has room for it."""
        if self.cables[output].full:
            self.cables[output].counts.shed += 1
            return False
        return not self.ledger.held_elsewhere(source, Target(output, off[0] & 0x0F, off[1]))

    def _put_all(self, now: int, sent: Iterable[tuple[int, bytes]], out: list[Delivery]) -> None:
        for output, message in sent:
            self.cables[output].put(now, (message,), out)

    # Loops

    def _ask(self, now: int, out: list[Delivery]) -> None:
        questions, self.loops.questions = self.loops.questions, []
        for output, question in questions:
            self.cables[output].put(now, (question,), out)

    def _hear_question(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        """One of our own questions has come back, or is on its way through other routes of ours."""
        found, goes_on = self.loops.hear(now, source, message)
        if goes_on and self.plan is not None:
            for output in self.loops.open_outputs(source, self.plan.reach(source)):
                self.cables[output].put(now, (message,), out)
        if found is not None:
            told = f'a loop was found: what goes to "{self.outputs[found.output]}" comes back here; this way is muted'
            self.news.append((self.inputs[source], f"{told} until the cable or the scene changes"))
            out += self._let_go(now, source)

    # Later messages

    def _send_due(self, now: int, out: list[Delivery]) -> None:
        """What filters had answered for this time; its notes are in the ledger like a player's."""
        for due in self.timetable.take(now):
            for output, message in self._later(due):
                self.cables[output].put(now, (message,), out)

    def _later(self, due: DueMessage) -> Iterable[tuple[int, bytes]]:
        message = due.message
        if is_release(message):
            return self.ledger.release(due.player, message) or ()
        outputs = tuple(output for output in due.outputs if output not in self.leaving)
        if is_press(message):
            outputs = tuple(output for output in outputs if not self.cables[output].full)
            targets = tuple(Target(output, message[0] & 0x0F, message[1]) for output in outputs)
            self.ledger.press(due.player, message, targets)
        for output in outputs:
            self.ledger.move(due.source, message, moves_of(output, (message,)))
        return [(output, message) for output in outputs]

    def _forget_later(self, now: int, players: set[int], out: list[Delivery]) -> None:
        """Nothing more is sent for these, and what sounds of theirs ends."""
        self.timetable.forget(players)
        for each in players & self.timetable.players:
            for output, message in self.ledger.abandon(each):
                self.cables[output].put(now, (message,), out)

    def end_later(self, now: int, out: list[Delivery]) -> None:
        """The filters that were to end later notes are gone: none more is sent, and those that sound end."""
        self._forget_later(now, set(self.timetable.players), out)

    def sound(self, now: int, target: Target, length: int) -> list[Delivery]:
        """A note that nobody plays, velocity 64, of so many nanoseconds; it has its note-off whatever comes between."""
        out: list[Delivery] = []
        on, off = (bytes((form | target.channel, target.key, 64)) for form in (NOTE_ON, NOTE_OFF))
        self.ledger.press(player(NOBODY, True), on, (target,))
        self.timetable.add(NOBODY, TimedMessage(now + length, off, (target.output,), True))
        self.cables[target.output].put(now, (on,), out)
        return out

    # Cables

    def input_lost(self, now: int, source: int) -> list[Delivery]:
        """The cable of input `source` is gone: what it holds is let go, what it moved comes to rest."""
        self.sensing.forget(source)
        out: list[Delivery] = []
        self.loops.lift(source=source)
        return out + self._let_go(now, source)

    def output_back(
        self, now: int, output: int, driver: CableSpeed | None, owed: Sequence[bytes] = ()
    ) -> list[Delivery]:
        """The cable of an output is back, and what is there may have hung, moved or forgotten anything meanwhile.

        It is silenced, set to rest and set up, then put on the scene's sounds, and on the last ones of channels that
        the scene does not name. `driver`: how its driver is to be paced; `owed`: releases that it missed.
        """
        out: list[Delivery] = []
        self.loops.lift(output=output)
        cable = self.cables[output]
        cable.change_speed(pace(self.rig.outputs.get(self.outputs[output]), driver))
        self.leaving.discard(output)
        self._silence(now, cable, (*owed, *SWEEP, *WHEELS), out)
        cable.burst(now, (*self.setups.get(output, ()), *self._sounds_of(output)), out)
        return out

    def output_left(self, now: int, output: int) -> list[Delivery]:
        """This output will hear no more of us: what sounds and what was moved there is released, and nothing begins."""
        self.sensing.outputs.discard(output)
        self.leaving.add(output)
        out: list[Delivery] = []
        for _, message in [*self.ledger.cut(output), *self.ledger.settle_output(output)]:
            self.cables[output].put(now, (message,), out)
        return out

    def release_all(self, now: int) -> list[Delivery]:
        """Every note off, every pedal, bend and wheel to rest."""
        out: list[Delivery] = []
        self.timetable.forget(self.timetable.players)
        for output, message in [*self.ledger.cut(), *self.ledger.settle(lambda *_: False)]:
            self.cables[output].put(now, (message,), out)
        return out

    def _silence(self, now: int, cable: OutputCable, sweep: Sequence[bytes], out: list[Delivery]) -> None:
        """The note-offs that are known to be owed, then the sweep, then what else is known to be off rest."""
        known = [message for _, message in (*self.ledger.cut(cable.output), *self.ledger.settle_output(cable.output))]
        offs = [message for message in known if is_release(message)]
        swept = {*offs, *sweep}
        cable.panic(now, [*offs, *sweep, *(message for message in known if message not in swept)], out)

    def _sounds_of(self, output: int) -> tuple[BurstUnit, ...]:
        steps = self.plan.bursts.get(output, ()) if self.plan else ()
        named = {step.channel for step in steps}
        kept = (
            BurstUnit(channel, unit, 0) for channel, unit in self.ledger.sounds(output).items() if channel not in named
        )
        return (*kept, *steps)

    def _let_go(self, now: int, source: int) -> list[Delivery]:
        """What an input holds and moved comes to rest."""
        out: list[Delivery] = []
        self._forget_later(now, {player(source, False), player(source, True)}, out)
        for output, message in self.ledger.abandon(source):
            self.cables[output].put(now, (message,), out)
        return out
