"""What players' commands do: scenes and set lists, panic, mutes, tempo taps, clock and time code.

Who commands (a switch, another machine, the shell) makes no difference here.
"""

from typing import Final

from engine.answer_codes import AnswerCode
from engine.core import commands as do
from engine.core.cable.output_cable import Delivery
from engine.core.cable.silencing_messages import EVERY_KEY
from engine.core.command_result import CommandResult
from engine.core.control.controls import PressedControl
from engine.core.control.scene_changes import SceneChanges
from engine.core.control.whose_stack import Refusal, for_players, whose_stack
from engine.core.routing.channel_places import placed
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import holder, player
from engine.core.routing.settling import Settling
from engine.core.state import State
from engine.core.timing.sync_commands import clock_in_words, control
from engine.plurals import counted, plural
from engine.rig.read.raw_data import no_such

_EACH_KEY: Final = ", with a note-off for every key"


class CommandExecution:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs, delayed: DelayedSending, settling: Settling) -> None:
        self._state, self._outputs, self._delayed, self._settling = state, outputs, delayed, settling
        self.scenes = SceneChanges(state, outputs, delayed, settling)

    def obey(self, now: int, command: do.PlayerCommand, who: str, out: list[Delivery]) -> CommandResult:
        """Carry it out, unless another engine of the network is in charge."""
        state = self._state
        if state.led_by is not None:
            return state.outcome(
                command.word, AnswerCode.NOT_LEADER, f"{state.led_by} is in charge; nothing changed here", who
            )
        return self.carry_out(now, command, who, out)

    def obey_control(self, now: int, source: int, asked: PressedControl, heard: str, out: list[Delivery]) -> None:
        """What a control at this input asks for, for each player whom it is for. `heard`: the last message, in words.

        An engine that follows leaves it to the one in charge, which has the same controls.
        """
        state = self._state
        if state.led_by is None:
            who = f"{state.compiled.inputs[source]}, {asked.pressed or heard}"
            for command in for_players(state.compiled, asked.command, asked.players):
                state.reports.outcomes.append(self.carry_out(now, command, who, out))

    def carry_out(self, now: int, command: do.PlayerCommand, who: str, out: list[Delivery]) -> CommandResult:
        """Carry it out, even if another engine is in charge."""
        if isinstance(command, do.StackCommand):
            return self._carry_out_in_stack(now, command, who, out)
        match command:
            case do.MuteRoute(route) | do.UnmuteRoute(route):
                return self._mute(now, command.word, route, isinstance(command, do.MuteRoute), who, out)
            case do.ToggleRoute(route):
                return self._mute(now, command.word, route, route not in self._state.muted, who, out)
            case do.ControlClock() | do.ControlTimecode():
                code, text, sent = control(self._state.sync, now, command)
                self._outputs.put(now, sent, out)
                self.recall_cues(now, out)
                return self._state.outcome(command.word, code, text, who)
            case do.TapTempo():
                return self._tap(now, who)
            case do.SendPreset(output, messages):
                return self._send(now, output, messages, who, out)
            case do.Panic(instrument):
                return self._panic(now, who, out) if instrument is None else self._panic_at(now, instrument, who, out)
        raise TypeError(f"the engine cannot carry out {command}")

    def _carry_out_in_stack(self, now: int, command: do.StackCommand, who: str, out: list[Delivery]) -> CommandResult:
        state = self._state
        whose = whose_stack(state.compiled, command)
        if isinstance(whose, Refusal):
            return state.outcome(command.word, whose.code, whose.text, who, state.stacks.get(command.player))
        if isinstance(command, do.Resend):
            return self.scenes.resend(now, whose, who, out)
        return self.scenes.carry_out(now, command, state.stacks[whose], who, out)

    def recall_cues(self, now: int, out: list[Delivery]) -> None:
        """Recall the scenes whose places the time code has reached."""
        cues = self._state.sync.cues
        numbers, cues.recalls = cues.recalls, []
        for number in numbers if self._state.led_by is None else ():
            recall = do.RecallScene(number)
            self._state.reports.outcomes.append(self._carry_out_in_stack(now, recall, "time code", out))

    # What moves and what is muted

    def _mute(self, now: int, word: str, route: str, on: bool, who: str, out: list[Delivery]) -> CommandResult:
        state = self._state
        known = state.compiled.route_names
        if route not in known:
            return state.outcome(
                word, AnswerCode.UNKNOWN_ROUTE, f"{no_such('route', route, sorted(known))}; nothing changed", who
            )
        if (route in state.muted) == on:
            return state.outcome(
                word, AnswerCode.UNCHANGED, f"{route} is {'already muted' if on else 'not muted'}", who
            )
        state.muted ^= {route}
        before, scenes = state.routes, [scene for _, scene in state.scenes_in_force()]
        if before is not None:
            for scene in scenes:
                scene.mute(frozenset(state.muted))
            state.put_together(state.places)
            if on:  # its filters will not hear of the releases of what they have begun
                state.renew_filters(lambda at, path: path.is_called(route))
                ended = {each for scene in scenes for each in scene.keeping_state(route)}
                self._delayed.end(now, {which(*each) for each in ended for which in (player, holder)}, out)
            self._settling.change(now, before, range(len(state.compiled.inputs)), out)
        return state.outcome(word, AnswerCode.DONE, f"{route} {'muted' if on else 'plays again'}", who)

    def _panic(self, now: int, who: str, out: list[Delivery]) -> CommandResult:
        """Known notes off, all sound and all notes off, pedals up, bends to centre, on every output."""
        state = self._state
        held = state.ledger.sounding()
        state.delayed.forget(state.delayed.players)
        if state.silencing.resets_filters:
            state.renew_filters(lambda source, path: True, keep_time=True)
        again = self._is_again(now, None)
        more = EVERY_KEY if again else ()
        for cable in state.cables:
            self._outputs.silence(now, cable, out, more=more)
        state.gestures.forget(now)  # inputs that a recall a moment ago has left to be settled, too
        state.ledger.notes.forget_keys()
        outputs = counted(len(state.cables), "output")
        text = f"panic: {counted(held, 'note')} released, everything silenced on {outputs}{_EACH_KEY if again else ''}"
        return state.outcome("panic", AnswerCode.DONE, text, who)

    def _panic_at(self, now: int, name: str, who: str, out: list[Delivery]) -> CommandResult:
        """The same for one instrument; the others play on."""
        state = self._state
        rig = state.compiled.rig
        gear = rig.instruments.get(name)
        if gear is None:
            text = f"{no_such('instrument', name, rig.instruments)}; nothing changed"
            return state.outcome("panic", AnswerCode.UNKNOWN_INSTRUMENT, text, who)
        output = state.compiled.outputs.index(gear.output)
        again = self._is_again(now, name)
        channels = gear.channels
        for channel in channels:
            self._outputs.silence_channel(now, output, channel - 1, again, out)
        listed = ", ".join(map(str, channels))
        text = f"panic: {name} silenced, {plural(len(channels), 'channel')} {listed} of {gear.output}"
        text += _EACH_KEY if again else ""
        return state.outcome("panic instrument", AnswerCode.DONE, text, who)

    def _is_again(self, now: int, instrument: str | None) -> bool:
        """Whether this is the second panic in a short time; the next one counts from here."""
        last, self._state.panics[instrument] = self._state.panics.get(instrument), now
        return last is not None and now - last <= self._state.silencing.again_ns

    def _send(self, now: int, name: str, messages: tuple[bytes, ...], who: str, out: list[Delivery]) -> CommandResult:
        state = self._state
        output = state.compiled.outputs.index(name)
        messages = placed(output, messages, state.places)
        self._outputs.command(output, messages)
        for message in messages:
            self._outputs.route(now, output, (message,), out)
        self._state.merging.by_nobody(output, messages)
        state.entered.forget(output)
        return state.outcome("send", AnswerCode.DONE, f"{counted(len(messages), 'message')} sent to {name}", who)

    def _tap(self, now: int, who: str) -> CommandResult:
        clock = self._state.sync.clock
        if clock is None:
            text = "this rig has no clock of its own; the tap changed nothing"
            return self._state.outcome("tap", AnswerCode.NOT_IN_RIG, text, who)
        clock.tap(now)
        return self._state.outcome("tap", AnswerCode.DONE, clock_in_words(clock), who)
