"""What commands do that no player gives: ports that come and go, messages that wait, an edited rig, another machine in
charge, the end.

A port that the rig does not have is passed over.
"""

from engine.core import commands as do
from engine.core.adoption import Adoption
from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.compiled import CompiledRig
from engine.core.control.command_execution import CommandExecution
from engine.core.feedback import Feedback
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.held_presses import Target
from engine.core.routing.inputs import Inputs
from engine.core.routing.outputs import Outputs
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.core.routing.settling import Settling
from engine.core.state import State


class SystemCommands:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(
        self,
        state: State,
        inputs: Inputs,
        outputs: Outputs,
        delayed: DelayedSending,
        settling: Settling,
        players: CommandExecution,
        feedback: Feedback,
    ) -> None:
        self._state, self._inputs, self._outputs, self._delayed = state, inputs, outputs, delayed
        self._settling, self._scenes, self._feedback = settling, players.scenes, feedback
        self._adoption = Adoption(state, inputs, outputs, delayed, players.scenes, settling)

    def carry_out(self, now: int, command: do.Command, out: list[Delivery]) -> None:
        """The commands that cannot fail."""
        state = self._state
        match command:
            case do.InputCommand():
                if command.input in state.compiled.inputs:
                    self._carry_out_for_input(now, command, state.compiled.inputs.index(command.input), out)
            case do.OutputCommand():
                if command.output in state.compiled.outputs:
                    self._carry_out_for_output(now, command, state.compiled.outputs.index(command.output), out)
            case do.MessagesWait(time):
                state.loops.messages_wait(now, time)
            case do.SendMessages(messages):
                self._outputs.send(now, messages, out)
            case do.FollowLeader(machine):
                state.led_by = machine
                state.missed = machine is not None
                self._feedback.forget(now)
            case do.ResumePosition(position, player):
                if player in state.stacks:
                    state.resume(state.stacks[player], position)
            case do.Begin():
                self._outputs.put(now, state.sync.begin(now), out)
            case do.Finish():
                self._finish(now, out)
            case do.AdoptRig(compiled=CompiledRig() as compiled, scenes=scenes):
                ready = scenes or ScenesInPlay(compiled.scenes, compiled.transposed)
                self._adoption.adopt(now, compiled, ready, out)
            case _:
                raise TypeError(f"the engine cannot carry out {command}")

    def _carry_out_for_input(self, now: int, command: do.InputCommand, source: int, out: list[Delivery]) -> None:
        kept_back = self._state.kept_back
        match command:
            case do.InputThere():
                self._inputs.there(source)
            case do.InputLost():
                self._inputs.lost(now, source, out)
                self._misses()
            case do.KeepSysexBack(on=on):
                (kept_back.add if on else kept_back.discard)(source)
            case _:
                raise TypeError(f"the engine cannot carry out {command}")

    def _carry_out_for_output(self, now: int, command: do.OutputCommand, output: int, out: list[Delivery]) -> None:
        match command:
            case do.OutputThere(speed=speed, owed=owed):
                self._feedback.forget(now, output)
                self._outputs.there(now, output, speed, owed, out)
                self._settling.send_to_output(now, output, out)
                self._misses()
            case do.OutputTaken():
                self._feedback.forget(now, output)
            case do.OutputLeft():
                self._outputs.left(now, output, out)
            case do.OutputLost():
                self._outputs.lost(output)
            case do.PlayTestNote(channel=channel, key=key, length=length, velocity=velocity):
                self._delayed.test_note(now, Target(output, channel, key), length, velocity, out)
            case _:
                raise TypeError(f"the engine cannot carry out {command}")

    def _misses(self) -> None:
        """This engine may miss something that the engine in charge sends, if it follows one."""
        self._state.missed = self._state.led_by is not None

    def _finish(self, now: int, out: list[Delivery]) -> None:
        if self._state.led_by is None:  # else the clock runs on where it is led
            self._outputs.put(now, self._state.sync.finish(now), out)
        self._outputs.release_all(now, out)

    def wake_up(self, now: int, who: str, out: list[Delivery]) -> CommandResult:
        """Nothing that was held or moved is sure any more, so all is released, and the sounds are sent again."""
        state = self._state
        self._feedback.forget(now)
        state.sensing.excuse(now)
        for board in state.boards:
            if board is not None:
                board.forget()
        state.renew_filters(lambda at, path: True)
        self._outputs.release_all(now, out)
        state.ledger.notes.forget_keys()
        state.positions.forget_all()
        return self._scenes.resend(now, "", who, out)
