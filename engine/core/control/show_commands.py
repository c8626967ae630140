"""Carries out what show control asks: cues are scenes, and stopping and resuming is for clock and time code.

Source: MIDI Show Control 1.1.1, RP-002/RP-014: commands 4.3. What a GO without a cue, LOAD and GO_OFF do to a rig is
our own choice within it.
"""

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.commands import ControlClock, ControlTimecode, NextScene, RecallScene
from engine.core.control.command_execution import CommandExecution
from engine.core.control.stack import Stack
from engine.core.control.whose_stack import asked_of
from engine.core.state import State

#: what `RemoteRequest.do` says for a command of show control
SHOW_COMMANDS = frozenset(("go", "load", "go off", "stop", "resume"))


class ShowCommands:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, players: CommandExecution) -> None:
        self._state, self._players = state, players

    def obey(
        self, now: int, do: str, cue: str | None, who: str, stack: Stack, out: list[Delivery]
    ) -> list[CommandResult]:
        """`do`: one of SHOW_COMMANDS; `cue`: None if it names none; `stack`: that of the input it came from.

        A cue that no scene has changes nothing.
        """
        if do == "go off":
            text = f"{_cue(cue)} cannot go off: a scene stays until another is recalled; nothing changed"
            return [self._state.outcome(do, AnswerCode.NOT_POSSIBLE, text, who)]
        if cue is None:
            if do == "go":
                return [self._players.obey(now, NextScene(player=stack.name), who, out)]
            return self._stop_or_resume(now, do, who, out)
        scene = self._state.compiled.rig.scene_of_cue(cue)
        if scene is None:
            text = f"there is no scene for cue {cue}; nothing changed"
            word = do if do in ("stop", "resume", "load") else "scene"
            return [self._state.outcome(word, AnswerCode.UNKNOWN_SCENE, text, who)]
        if do == "go":
            asked = asked_of(self._state.compiled, RecallScene(scene.number), stack.name)
            return [self._players.obey(now, asked, who, out)]
        if do == "load":
            return [self._load(scene.number, who, stack)]
        if all(playing.number != scene.number for _, playing in self._state.scenes_in_force()):
            text = f"cue {cue} is not playing; nothing changed"
            return [self._state.outcome(do, AnswerCode.NOT_POSSIBLE, text, who)]
        return self._stop_or_resume(now, do, who, out)

    def _load(self, number: int, who: str, asking: Stack) -> CommandResult:
        """The scene is what comes next, for whoever asks for it, until a scene is recalled."""
        state = self._state
        stack = state.stacks[state.compiled.players.scenes.get(number, asking.name)]
        stack.setlist.loaded = number
        text = f"scene {number} {state.compiled.scenes[number].name} is loaded: it comes next"
        return state.outcome("load", AnswerCode.DONE, text, who, stack)

    def _stop_or_resume(self, now: int, do: str, who: str, out: list[Delivery]) -> list[CommandResult]:
        """Show control stops and resumes what runs by itself: clock and time code."""
        state = self._state
        clock, code = ("stop", "stop") if do == "stop" else ("continue", "start")
        outcomes = []
        if state.sync.clock is not None:
            outcomes.append(self._players.obey(now, ControlClock(clock), who, out))
        if state.sync.code is not None:
            outcomes.append(self._players.obey(now, ControlTimecode(code), who, out))
        text = "this rig has no clock and no time code of its own"
        return outcomes or [state.outcome(do, AnswerCode.NOT_IN_RIG, text, who)]


def _cue(cue: str | None) -> str:
    return "the cue" if cue is None else f"cue {cue}"
