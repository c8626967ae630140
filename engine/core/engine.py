"""The whole router as a state machine: messages, commands and time go in; what is to be sent comes out.

No I/O and no clock: each call takes the time in nanoseconds of any monotonic clock and gives what is to be handed to
the drivers now, as (output, message, time its first byte is on the cable).

`receive` takes a message, `apply` a command, `tick` what time brings; `due` says when the next `tick` is needed.
Nothing else changes the state.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from engine.answer_codes import AnswerCode
from engine.core import commands as do
from engine.core.cable.output_cable import Delivery, Unit
from engine.core.cable.speed import CableSpeed
from engine.core.command_result import Result
from engine.core.compiled import CompiledRig
from engine.core.control.command_execution import CommandExecution
from engine.core.control.remote_commands import RemoteCommands
from engine.core.control.setlist import ShowPosition
from engine.core.feedback import Feedback
from engine.core.feedback_plan import Thing
from engine.core.follower import Follower
from engine.core.routing.active_sensing import SENSE
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.inputs import Inputs
from engine.core.routing.loops import QUESTION
from engine.core.routing.merged_messages import is_pedal
from engine.core.routing.outputs import Outputs
from engine.core.routing.routed_message import PLAIN, PRESS, RELEASE, RoutedMessage, without
from engine.core.routing.settling import Settling
from engine.core.routing.special_answers import SpecialAnswers
from engine.core.rules import RULES, Rules
from engine.core.state import CableMaker, State, make_cable
from engine.core.system_commands import SystemCommands
from engine.midi.kinds import SYSEX
from engine.midi.message_words import describe
from engine.rig.models.rig import Rig


class Engine:
    """A rig that plays. Inputs and outputs are indices: their places in `inputs` and `outputs`. Loop only."""

    def __init__(
        self,
        compiled: CompiledRig,
        speeds: Mapping[str, CableSpeed | None] | None = None,
        maker: CableMaker = make_cable,
        watch_loops: bool = True,
        rules: Rules = RULES,
    ) -> None:
        """`speeds`: how the driver of a fast output is to be paced, by name, None for not at all.

        `din` outputs are paced as their cable is, whatever the driver could take. `maker` makes the cables.
        `watch_loops`: False where nothing that goes out can come in again. `rules`: those of today, or of a recording.
        """
        self.state = State(compiled, speeds or {}, maker, rules)
        ledger = self.state.ledger
        self._notes, self._sent, self._places = ledger.notes, ledger.sent, self.state.positions.places
        self._merges, self._loops = rules.merges, self.state.loops if watch_loops else None
        self._cues, self._sensing, self._later = self.state.sync.cues, self.state.sensing, self.state.delayed
        self.reports = self.state.reports
        self._outputs = Outputs(self.state)
        self._settling = Settling(self.state, self._outputs)
        self._delayed = DelayedSending(self.state, self._outputs)
        self._inputs = Inputs(self.state, self._outputs, self._delayed)
        self._special = SpecialAnswers(self.state, self._inputs, self._delayed, self._settling)
        self._players = CommandExecution(self.state, self._outputs, self._delayed, self._settling)
        self._remote = RemoteCommands(self.state, self._outputs, self._players)
        self._feedback = Feedback(self.state, self._outputs)
        self._follower = Follower(self.state, self._players)
        self._commands = SystemCommands(
            self.state, self._inputs, self._outputs, self._delayed, self._settling, self._players, self._feedback
        )

    # What is asked

    @property
    def rig(self) -> Rig:
        """The rig that plays."""
        return self.state.compiled.rig

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of inputs by index. An edited rig keeps the places of those it had, also of those it removed."""
        return self.state.compiled.inputs

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of outputs by index, as of inputs."""
        return self.state.compiled.outputs

    @property
    def scene(self) -> tuple[int, str] | None:
        """Number and name of the scene in force; of a player's, ask the player's stack."""
        return self.state.main.in_force

    @property
    def positions(self) -> dict[str, ShowPosition]:
        """Where the show is, by player with scenes of their own; "" is the rest of the rig. Empty before the first."""
        stacks = self.state.stacks.items()
        return {player: position for player, stack in stacks if (position := stack.position) is not None}

    @property
    def waiting(self) -> bool:
        """Whether anything that came in or was asked for has not been handed over yet."""
        state = self.state
        if state.delayed.due is not None or state.gestures.due is not None:
            return True
        return any(cable.due is not None for cable in state.cables)

    @property
    def due(self) -> int | None:
        """When `tick` next has something to do, or None."""
        state = self.state
        dues = [due for cable in state.cables if (due := cable.due) is not None]
        dues += [board.due for board in state.boards if board is not None and board.waiting and board.due is not None]
        if state.delayed.due is not None:
            dues.append(state.delayed.due)
        if state.gestures.due is not None:
            dues.append(state.gestures.due)
        if (lights := self._lights_due) is not None:
            dues.append(lights)
        sensing, sync = state.sensing, state.sync
        if (sensing.heard_at or sensing.outputs) and (due := sensing.due) is not None:
            dues.append(due)
        if (sync.sends or sync.readers) and (due := sync.due) is not None:
            dues.append(due)
        return min(dues, default=None)

    @property
    def longest_wait(self) -> int:
        """How long (ns), about, the fullest cable takes for the notes and values that wait."""
        return max([cable.wait for cable in self.state.cables], default=0)

    @property
    def _lights_due(self) -> int | None:
        """When lights and displays are next looked after; most rigs have none."""
        feedback = self._feedback
        return feedback.due if feedback.things_sent or self.state.compiled.feedback.things else None

    def feedback_sent(self, thing: Thing) -> bytes | None:
        """What a light or a display was last sent about the show, or None."""
        return self._feedback.things_sent.get(thing)

    @property
    def beat(self) -> int | None:
        """When clock or time code is next due that must not be late, or None."""
        sync = self.state.sync
        return sync.beat if sync.sends else None

    # Messages

    def receive(self, now: int, source: int, message: bytes) -> list[Delivery]:
        """One whole message of input `source`."""
        out: list[Delivery] = []
        state = self.state
        sensing, due, status = self._sensing, self._later.due, message[0]
        if source in sensing.heard_at:
            sensing.heard_at[source] = now
        if sensing.silent:
            sensing.silent.discard(source)
        if due is not None and due <= now:
            self._delayed.send_due(now, out)
        if status >= SYSEX and self._hear_system(now, source, message, out):
            return out
        if self._cues.recalls:
            self._players.recall_cues(now, out)
            self._feedback.soon(now)
        board = state.boards[source]
        if board is not None and (taken := board.take(now, message, state.in_force[source])) is not None:
            # a key whose press was routed, in another scene maybe, must not hang
            if taken.passes or self._notes.is_down(source, message):
                self._route(now, source, message, out)
            else:
                state.prefixes.skip(source, message)
                self._special.go_on_shaping(now, source, message, out)
            for asked in taken.commands:
                self._players.obey_control(now, source, asked, describe(message, self.rig.rig.middle_c), out)
                self._feedback.soon(now)
            return out
        if source in state.remote.inputs and self._remote.take(now, source, message, out):
            self._feedback.soon(now)
            return out
        if status != SYSEX or source not in state.kept_back:
            self._route(now, source, message, out)
        return out

    def _hear_system(self, now: int, source: int, message: bytes, out: list[Delivery]) -> bool:
        """What a system message is beside music; True if it is nothing else."""
        if message == SENSE:
            self.state.sensing.heard_at[source] = now
        elif message.startswith(QUESTION):
            self._inputs.hear_question(now, source, message, out)
            return True
        self._outputs.put(now, self.state.sync.hear(now, source, message), out)
        return False

    def _route(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        state = self.state
        routes = state.routes
        if routes is None:
            return
        stamp: Any = now  # for the tuples below: an `int` would be made an object for each of them, compiled
        gestures, cables = state.gestures, state.cables
        if gestures.leading:
            answer = gestures.answer(now, source, message, routes)
        else:
            known = routes.known[source].get(message)
            answer = routes.answer(source, message, now) if known is None or routes.called[source] else known
        loops = self._loops
        if loops is not None:
            if now >= loops.window_ends:
                loops.begin_window(now)
            tally = loops.tallies.get(source)
            if tally is None:
                tally = loops.tallies[source] = [0, 0, 0]
            tally[0] += 1
            sent = loops.sent
            # it stays: the same output may also lead to an input from which nothing goes on
            if message in sent or message in loops.sent_before or source in loops.watched:
                mark = sent.get(message) or loops.sent_before.get(message)
                watched = self._look_closer(now, source, message, answer, mark, out)
                if watched is None:
                    return
                answer = watched
            else:
                mark = (stamp, 0, stamp)
                for said in answer.said:
                    sent[said] = mark
        if state.leaving:
            answer = without(answer, state.leaving)
        if answer.plain and not self._sent.lows and self._later.due is None:  # the way of every wheel and fader
            self._sent.values.update(answer.sent)
            self._places[source][answer.position] = message
            for output, unit in answer.units:
                cable = cables[output]
                if cable.straight:  # what `put` does there, without the call
                    for each in unit:
                        out.append((output, each, stamp))
                else:
                    cable.put(now, unit, out)
        elif (pedals := answer.pedals) is not None and self._merges:
            self._special.put_pedals(now, source, message, answer, pedals, out)
        else:
            self._put(now, source, message, answer, out)

    def _look_closer(
        self,
        now: int,
        source: int,
        message: bytes,
        answer: RoutedMessage,
        mark: tuple[int, int, int] | None,
        out: list[Delivery],
    ) -> RoutedMessage | None:
        """A message that may go round in a loop, or whose input has a muted connection: what is left of its answer."""
        left = self.state.loops.look_closer(now, source, message, answer, mark)
        if self.state.loops.questions:
            self._inputs.ask_for_loops(now, out)
        return left

    def _put(self, now: int, source: int, message: bytes, answer: RoutedMessage, out: list[Delivery]) -> None:
        """Send an answer, and write down what must be known of it later."""
        state = self.state
        delayed, cables, gestures = state.delayed, state.cables, state.gestures
        units: Iterable[tuple[int, Unit]] = answer.units
        if answer.kind == RELEASE:
            units = self._special.released(now, source, message, answer)
        elif answer.kind == PRESS:
            for output, _ in units:
                if cables[output].full:
                    answer = self._special.where_room_is(answer)
                    units = answer.units
                    break
            if gestures.active:
                self._settling.before_press(now, source, answer.targets, out)
                self._notes.press(source, message, answer.targets)
                if self._notes.ringing.rings(answer.targets):  # it is another note now
                    gestures.notes_changed(now)
            else:
                self._notes.press(source, message, answer.targets)
        if answer.kind != PLAIN and state.prefixes.any:
            full = [cable.output for cable in cables if cable.full]
            units = state.prefixes.give(source, message, [*units], full)
        if message[0] >= SYSEX:
            units = self._special.system(now, source, message, units)
        if delayed.due is not None:
            delayed.outdate(source, answer.units, state.places)
        if answer.noted:
            self._special.note(now, source, message, answer, out)
        if answer.merges:
            self._special.put_merged(now, source, message, answer, units, out)
        else:
            stamp: Any = now  # see `_route`
            for output, unit in units:
                cable = cables[output]
                if cable.straight:
                    for each in unit:
                        out.append((output, each, stamp))
                else:
                    cable.put(now, unit, out)
        if gestures.active:
            if answer.kind == RELEASE:
                gestures.notes_changed(now, (source,))  # pedals may be left behind
            elif answer.merges or is_pedal(message):
                self._settling.after_pedal(now, source, out)

    # Time

    def tick(self, now: int) -> list[Delivery]:
        """What has waited for this time."""
        out: list[Delivery] = []
        state = self.state
        self._outputs.put(now, state.sync.tick(now), out)
        self._delayed.send_due(now, out)
        self._inputs.keep_sensing(now, out)
        if state.gestures.due is not None and state.gestures.due <= now:
            self._settling.tick(now, out)
        for cable in state.cables:
            if cable.due is not None and cable.due <= now:
                cable.flush(now, out)
        if self._cues.recalls:
            self._players.recall_cues(now, out)
            self._feedback.soon(now)
        for source, board in enumerate(state.boards):
            if board is not None and board.due is not None and board.due <= now:
                for asked in board.tick(now, state.in_force[source]):
                    self._players.obey_control(now, source, asked, "", out)
                    self._feedback.soon(now)
        if (lights := self._lights_due) is not None and lights <= now:
            self._feedback.look(now, out)
        return out

    # Commands

    def apply(self, now: int, command: do.Command, who: str = "") -> Result:
        """Carry out a command; a port that the rig does not have is passed over.

        `who`: who asks, and with what, for the result's `source`.
        """
        out: list[Delivery] = []
        self._feedback.soon(now)
        if isinstance(command, do.PlayerCommand):
            outcome = self._players.obey(now, command, who, out)
        elif isinstance(command, do.FollowShow):
            outcome = self._follower.follow_show(now, command, who, out)
        elif isinstance(command, do.FollowTime):
            outcome = self._follower.follow_time(now, command, who)
        elif isinstance(command, do.WakeUp):
            outcome = self._commands.wake_up(now, who, out)
        else:
            self._commands.carry_out(now, command, out)
            outcome = self.state.outcome(command.word, AnswerCode.DONE, "", who)
        return Result(outcome, out)
