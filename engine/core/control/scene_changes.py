"""Changes of scene: what recalls one, and what comes with it; places in set lists, songs and transposition.

Each acts on one stack: that of a player with scenes of their own, or that of the rest of the rig.
"""

from collections.abc import Mapping
from dataclasses import replace

from engine.answer_codes import AnswerCode
from engine.core import commands as do
from engine.core.cable.output_cable import Delivery, again, owned
from engine.core.cable.program_burst import Bursts, SentBurst, instruments, one_after_the_other
from engine.core.command_result import CommandResult
from engine.core.control.setlist import LAST_STEP
from engine.core.control.stack import Stack
from engine.core.routing.channel_places import Places
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.outputs import Outputs
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.settling import Settling
from engine.core.routing.spare_channels import choose_places
from engine.core.state import State
from engine.plurals import plural
from engine.rig.models.rig import SongTable
from engine.rig.read.raw_data import no_such
from engine.rig.scene_words import listed_scenes, nearest_scene


class SceneChanges:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs, delayed: DelayedSending, settling: Settling) -> None:
        self._state, self._outputs, self._delayed, self._settling = state, outputs, delayed, settling

    def carry_out(
        self, now: int, command: do.StackCommand, stack: Stack, who: str, out: list[Delivery]
    ) -> CommandResult:
        """What a player, or the rest of the rig, is to play from now on; of a player, the sentence names them."""
        outcome = self._carry_out(now, command, stack, who, out)
        return replace(outcome, text=f"{stack.name}: {outcome.text}") if stack.name else outcome

    def _carry_out(
        self, now: int, command: do.StackCommand, stack: Stack, who: str, out: list[Delivery]
    ) -> CommandResult:
        match command:
            case do.RecallScene(scene):
                return self.recall(now, stack, scene, who, out)
            case do.NextScene():
                return self._step(now, stack, 1, command.word, who, out)
            case do.PreviousScene():
                return self._step(now, stack, -1, command.word, who, out)
            case do.FirstScene():
                return self._go_to_entry(now, stack, 1, command.word, who, out)
            case do.GoToEntry(entry):
                return self._go_to_entry(now, stack, entry, command.word, who, out)
            case do.ChooseSetlist(setlist):
                return self._choose_setlist(stack, setlist, who)
            case do.NextSong() | do.PreviousSong():
                step = 1 if isinstance(command, do.NextSong) else -1
                return self._step_song(now, stack, step, command.word, who, out)
            case do.ChooseSong(song):
                return self._choose_song(now, stack, song, who, out)
            case do.Transpose(step):
                return self._transpose(now, stack, step, who, out)
        raise TypeError(f"no stack can carry out {command}")

    # Scenes

    def recall(self, now: int, stack: Stack, scene: int | str, who: str, out: list[Delivery]) -> CommandResult:
        """A scene by its number, name or cue."""
        compiled = self._state.compiled
        number = scene if isinstance(scene, int) and scene in compiled.scenes else compiled.find(scene)
        if number is None:
            text = f"there is no scene {_scene_in_words(scene)}; nothing changed{self._meant(scene)}"
            return self._state.outcome("scene", AnswerCode.UNKNOWN_SCENE, text, who, stack)
        stack.setlist.move_to(number)
        return self._switch(now, stack, number, "scene", who, out)

    def _meant(self, scene: int | str) -> str:
        """The end of a sentence, for whoever typed a name or number: the nearest name, if any, and all scenes."""
        if isinstance(scene, int):  # a foot switch: nobody reads a list
            return ""
        known = self._state.compiled.rig.scenes
        near = nearest_scene(scene, known)
        meant = f' Did you mean "{near}"?' if near else ""
        return f".{meant} There are: {listed_scenes(scene, known)}"

    def _step(self, now: int, stack: Stack, step: int, word: str, who: str, out: list[Delivery]) -> CommandResult:
        setlist = stack.setlist
        number = setlist.beside(step)
        if number is None:
            text = f"already at the {'end' if step > 0 else 'beginning'} of {setlist.words}"
            return self._state.outcome(word, AnswerCode.END_OF_SETLIST, text, who, stack)
        setlist.go(step)
        return self._switch(now, stack, number, word, who, out)

    def _go_to_entry(
        self, now: int, stack: Stack, entry: int, word: str, who: str, out: list[Delivery]
    ) -> CommandResult:
        setlist = stack.setlist
        last = len(setlist.numbers)
        if not 1 <= entry <= last:
            only = f"only 1 to {last}" if last else "which has none"
            text = f"there is no entry {entry} in {setlist.words}, {only}; nothing changed"
            return self._state.outcome(word, AnswerCode.UNKNOWN_ENTRY, text, who, stack)
        setlist.place = entry - 1
        return self._switch(now, stack, setlist.numbers[setlist.place], word, who, out)

    # Songs

    def _step_song(self, now: int, stack: Stack, step: int, word: str, who: str, out: list[Delivery]) -> CommandResult:
        setlist = stack.setlist
        place = setlist.beside_song(step)
        if place is None:
            text = f"already in the {'last' if step > 0 else 'first'} song of {setlist.words}"
            return self._state.outcome(word, AnswerCode.END_OF_SETLIST, text, who, stack)
        setlist.place = place
        return self._switch(now, stack, setlist.numbers[place], word, who, out)

    def _choose_song(self, now: int, stack: Stack, name: str, who: str, out: list[Delivery]) -> CommandResult:
        """Its first scene, with the song in force even if the set list does not have it."""
        state = self._state
        song = state.compiled.songs.get(name)
        if song is None:
            text = f"{no_such('song', name, state.compiled.songs)}; nothing changed"
            return state.outcome("song", AnswerCode.UNKNOWN_SONG, text, who, stack)
        place = stack.setlist.start_of(name)
        if place is None:
            stack.setlist.move_to(song.numbers[0])
        else:
            stack.setlist.place = place
        return self._switch(now, stack, song.numbers[0], "song", who, out, name)

    def _transpose(self, now: int, stack: Stack, step: int, who: str, out: list[Delivery]) -> CommandResult:
        state = self._state
        wanted = max(-LAST_STEP, min(LAST_STEP, stack.step + step)) if step else 0
        if wanted == stack.step:
            text = "transposed no further" if wanted else "not transposed"
            return state.outcome("transpose", AnswerCode.UNCHANGED, text, who, stack)
        stack.step = wanted
        self.transposed(now, stack, out)
        text = f"transposed by {wanted:+d} {plural(abs(wanted), 'semitone')}" if wanted else "no longer transposed"
        return state.outcome("transpose", AnswerCode.DONE, text, who, stack)

    def transposed(self, now: int, stack: Stack, out: list[Delivery]) -> None:
        """Song or foot transpose by another number of semitones: the scene in force plays on so."""
        state = self._state
        state.scenes.forget_steps([scene for other, scene in state.scenes_in_force() if other is not stack])
        before, routes = stack.scene, state.routes
        if before is None or before.number not in state.compiled.scenes:
            return
        scene = state.ready(stack, before.number)
        if scene is not before:
            self._put_in_force(now, stack, scene, before.places, out)
            self._settling.change(now, routes, stack.sources, out)

    # Set lists

    def _choose_setlist(self, stack: Stack, name: str, who: str) -> CommandResult:
        """The scene in force stays; where the new list has it, the show goes on there, else before its first."""
        state, listed = self._state, self._state.compiled.setlists
        if name not in listed:
            text = f"{no_such('set list', name, filter(None, listed))}; nothing changed"
            return state.outcome("setlist", AnswerCode.UNKNOWN_SETLIST, text, who, stack)
        if name != (stack.setlist.name or ""):
            state.choose_setlist(stack, name)
            if stack.scene is not None:
                stack.setlist.move_to(stack.scene.number)
        following = stack.setlist.beside(1)
        then = "last entry"
        if following is not None:
            then = f"next is scene {following} {state.compiled.scenes[following].name}"
        return state.outcome("setlist", AnswerCode.DONE, f"{stack.setlist.words}, {then}", who, stack)

    def recall_at(self, now: int, stack: Stack, number: int, places: Places, who: str, out: list[Delivery]) -> None:
        """Recall the scene of this number with the instruments where another engine has them."""
        stack.setlist.move_to(number)
        self._switch(now, stack, number, "scene", who, out, places=places)

    def _switch(
        self,
        now: int,
        stack: Stack,
        number: int,
        word: str,
        who: str,
        out: list[Delivery],
        song: str | None = None,
        places: Places | None = None,
    ) -> CommandResult:
        """The atomic scene change: one reference, then what the old scene leaves behind, then the burst.

        `song`: the one that was asked for; otherwise the scene says which is in force. `places`: where instruments are,
        if that is settled.
        """
        state, last_song, left, before = self._state, stack.song, stack.scene, self._state.routes
        stack.setlist.loaded, stack.recalled_at = None, now
        stack.song = song or stack.setlist.song_of(number) or stack.song
        scene = state.ready(stack, number)
        if before is None:  # the start
            for output in state.compiled.setups:
                self._outputs.set_up(now, output, out)
        repeated = left is not None and left.number == number
        if places is None:
            places = state.places if repeated else choose_places(state, scene)
        moved, routes = places != state.places, before if left is not None and not scene.compiled.cuts else None
        if scene is not left or moved:
            self._change(now, stack, scene, places, out)
        self._settling.change(now, routes, stack.sources, out)
        if moved and before is not None:
            self._settling.change(now, before, set(range(len(state.stack_of))) - stack.sources, out)
        if state.compiled.shares_controls:
            self._settling.controls_changed(now, out)
        self.set_tempo(now, scene, state.song_of(stack) if stack.song != last_song else None)
        bursts = scene.entering
        if repeated or not state.rules.only_changes:
            bursts = _again(bursts)
        if left is not None and not repeated and left.leaving:
            bursts = one_after_the_other(left.leaving, bursts)
        sent, unchanged = self._send_burst(now, _owned(bursts, stack), stack, out)
        return state.outcome(word, AnswerCode.DONE, _named(scene), who, stack, sent, unchanged)

    def set_tempo(self, now: int, scene: SceneInPlay, song: SongTable | None = None) -> None:
        """The rig's own clock runs at the tempo that the scene says, if it says one, or that a new song begins with."""
        clock, tempo = self._state.sync.clock, scene.compiled.tempo
        if tempo is None and song is not None:
            tempo = song.tempo
        if tempo is not None and clock is not None:
            clock.set_bpm(now, tempo)

    def _change(self, now: int, stack: Stack, scene: SceneInPlay, places: Places, out: list[Delivery]) -> None:
        self._put_in_force(now, stack, scene, places, out)
        if scene.compiled.cuts:
            if len(self._state.stacks) == 1:
                self._outputs.cut(now, out)
            else:
                self._outputs.cut_only(now, stack.sources, out)

    def _put_in_force(self, now: int, stack: Stack, scene: SceneInPlay, places: Places, out: list[Delivery]) -> None:
        state = self._state
        scene.enter(frozenset(state.muted), places)
        before, stack.scene = stack.scene, scene
        state.put_together(places)
        if state.loops.muted:
            state.loops.lift()
        self._delayed.leave(now, before, scene, stack.sources, out)

    def resend(self, now: int, player: str, who: str, out: list[Delivery]) -> CommandResult:
        """Send the sounds of the scene in force again: of all scenes if `player` is ""."""
        state = self._state
        scenes = [(stack, scene) for stack, scene in state.scenes_in_force() if player in ("", stack.name)]
        stack = state.stacks[player]
        if not scenes:
            text = "no scene is in force yet; nothing was sent"
            return state.outcome("resend", AnswerCode.NOT_POSSIBLE, text, who, stack)
        bursts: Bursts = {}
        for each, scene in scenes:
            bursts = one_after_the_other(bursts, _owned(_again(scene.bursts), each))
        named = ", ".join(_named(scene) for _, scene in scenes)
        sent, unchanged = self._send_burst(now, bursts, stack, out)
        outcome = state.outcome("resend", AnswerCode.DONE, f"{named} sent again", who, stack, sent, unchanged)
        self._settling.send_again(now, range(len(state.stack_of)) if not player else stack.sources, out)
        return outcome

    def _send_burst(
        self, now: int, bursts: Bursts, stack: Stack, out: list[Delivery]
    ) -> tuple[Mapping[int, SentBurst], int]:
        """What was sent, by output, and for how many instruments nothing was, since they are on their sounds."""
        outputs, cables, sent = self._outputs, self._state.cables, dict[int, SentBurst]()
        unchanged = 0
        for output in sorted({*bursts, *outputs.where_steps_wait()}):  # what waits is replaced, also by nothing
            cable, steps = cables[output], bursts.get(output, ())
            needed = outputs.burst(now, output, steps, out, stack.name)
            if needed:
                sent[output] = cable.speed, needed
                outputs.command_steps(output, needed)
            if len(needed) < len(steps):
                unchanged += instruments(steps) - instruments(needed)
        return sent, unchanged


def _named(scene: SceneInPlay) -> str:
    return f"scene {scene.number} {scene.name}"


def _again(bursts: Bursts) -> Bursts:
    return {output: again(steps) for output, steps in bursts.items()}


def _owned(bursts: Bursts, stack: Stack) -> Bursts:
    return {output: owned(steps, stack.name) for output, steps in bursts.items()} if stack.name else bursts


def _scene_in_words(scene: int | str) -> str:
    """Names in quotes, numbers without, also those that came as text."""
    return str(scene) if isinstance(scene, int) or scene.isdecimal() else f'"{scene}"'
