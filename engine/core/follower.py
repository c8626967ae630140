"""Does what the engine in charge says: where its show is, and how its clock and time code run.

An engine that follows hears every input and routes it by itself; what players command it learns from the one in charge.
"""

from typing import Final

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.commands import FollowShow, FollowTime, MuteRoute, UnmuteRoute
from engine.core.control.command_execution import CommandExecution
from engine.core.control.setlist import ShowPosition
from engine.core.control.stack import Stack
from engine.core.routing.channel_places import Places, of_instruments
from engine.core.state import State
from engine.midi.timecode import read_label

_LEADER: Final = "the engine in charge"


class Follower:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, players: CommandExecution) -> None:
        self._state, self._players = state, players

    def follow_show(self, now: int, command: FollowShow, who: str, out: list[Delivery]) -> CommandResult:
        """Be where the show is; not done, with a sentence, if that makes no sense for this rig.

        What this engine believes about outputs at other machines becomes a guess if it has missed anything, because the
        engine in charge has played meanwhile.
        """
        outcome = self._follow_show(now, command, who, out)
        if self._state.missed:
            self._state.missed = False
            for cable in self._state.cables:
                if cable.remote is not None:
                    cable.remote.doubt()
        return outcome

    def _follow_show(self, now: int, command: FollowShow, who: str, out: list[Delivery]) -> CommandResult:
        state, position = self._state, command.position
        for route in sorted(state.muted ^ {*command.muted}):
            mute = MuteRoute(route) if route in command.muted else UnmuteRoute(route)
            self._players.carry_out(now, mute, _LEADER, out)
        places = of_instruments(state.compiled.rig, state.compiled.outputs, command.channels)
        said = [("", position, command.loaded), *(each for each in command.players if each[0] in state.stacks)]
        shows = [(state.stacks[name], its, loaded) for name, its, loaded in said]
        moved = [(stack, its) for stack, its, _ in shows if its is not None and its != stack.position]
        if not moved and position is not None and places != state.places:
            moved = [(state.main, position)]
        missing = [its.scene for _, its in moved if its.scene not in state.compiled.scenes]
        for stack, its in moved:
            if its.scene in state.compiled.scenes:
                self._go(now, stack, its, places, out)
        if missing:
            text = f"it plays scene {missing[0]}, which is not in the rig here"
            return state.outcome(command.word, AnswerCode.NOT_POSSIBLE, text, who)
        for stack, _, loaded in shows:
            stack.setlist.loaded = loaded if loaded in state.compiled.scenes else None
        return state.outcome(command.word, AnswerCode.DONE, "", who)

    def _go(self, now: int, stack: Stack, position: ShowPosition, places: Places, out: list[Delivery]) -> None:
        state, scenes = self._state, self._players.scenes
        if position.setlist in state.compiled.setlists:
            state.choose_setlist(stack, position.setlist)
        stack.setlist.place = position.place
        if stack.scene is None or stack.scene.number != position.scene or places != state.places:
            scenes.recall_at(now, stack, position.scene, places, _LEADER, out)
            stack.setlist.place = position.place
        before = state.transposed(stack)
        state.follow_song(stack, position)
        if state.transposed(stack) != before:
            scenes.transposed(now, stack, out)

    def follow_time(self, now: int, command: FollowTime, who: str) -> CommandResult:
        """The rig's own clock and time code run, or stop, as those of the engine in charge."""
        sync, age = self._state.sync, command.age
        if sync.clock is not None and command.clock is not None:
            sync.clock.follow(now - age, command.clock)
        if sync.code is not None and command.timecode is not None:
            place, runs_for = command.timecode
            try:
                sync.code.follow(now - age, read_label(place, sync.code.rate), runs_for)
            except ValueError as fault:
                text = f"it does not give the state of clock and time code ({fault})"
                return self._state.outcome(command.word, AnswerCode.NOT_POSSIBLE, text, who)
        return self._state.outcome(command.word, AnswerCode.DONE, "", who)
