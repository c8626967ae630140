"""What players' commands do: scenes and set lists, panic, mutes, tempo taps, clock and time code.

Who commands (a switch, another machine, the shell) makes no difference here.
"""

from dataclasses import replace
from typing import Final

from engine.answer_codes import AnswerCode
from engine.core import commands as do
from engine.core.cable.output_cable import BurstUnit, Delivery, again
from engine.core.cable.program_burst import Bursts, burst_cost, instruments, one_after_the_other
from engine.core.cable.silencing_messages import EVERY_KEY
from engine.core.command_result import CommandResult
from engine.core.control.setlist import LAST_STEP
from engine.core.routing.channel_places import Places, placed
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import holder, player
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.settling import Settling
from engine.core.routing.spare_channels import choose_places
from engine.core.state import State
from engine.core.timing.sync_commands import clock_in_words, control
from engine.plurals import counted, plural
from engine.rig.models.rig import SongTable
from engine.rig.read.raw_data import no_such
from engine.rig.scene_words import listed_scenes, nearest_scene

_EACH_KEY: Final = ", with a note-off for every key"


class CommandExecution:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs, delayed: DelayedSending, settling: Settling) -> None:
        self._state, self._outputs, self._delayed, self._settling = state, outputs, delayed, settling

    def obey(self, now: int, command: do.PlayerCommand, who: str, out: list[Delivery]) -> CommandResult:
        """Carry it out, unless another engine of the network is in charge."""
        state = self._state
        if state.led_by is not None:
            return state.outcome(
                command.word, AnswerCode.NOT_LEADER, f"{state.led_by} is in charge; nothing changed here", who
            )
        return self.carry_out(now, command, who, out)

    def carry_out(self, now: int, command: do.PlayerCommand, who: str, out: list[Delivery]) -> CommandResult:
        """Carry it out, even if another engine is in charge."""
        match command:
            case do.RecallScene(scene):
                return self._recall(now, scene, who, out)
            case do.NextScene():
                return self._step(now, 1, command.word, who, out)
            case do.PreviousScene():
                return self._step(now, -1, command.word, who, out)
            case do.FirstScene():
                self._state.setlist.place = 0
                return self._switch(now, self._state.setlist.numbers[0], command.word, who, out)
            case do.GoToEntry(entry):
                return self._go_to_entry(now, entry, who, out)
            case do.ChooseSetlist(setlist):
                return self._choose_setlist(setlist, who)
            case do.NextSong() | do.PreviousSong():
                return self._step_song(now, 1 if isinstance(command, do.NextSong) else -1, command.word, who, out)
            case do.ChooseSong(song):
                return self._choose_song(now, song, who, out)
            case do.Transpose(step):
                return self._transpose(now, step, who, out)
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
            case do.Resend():
                return self.resend(now, who, out)
        raise TypeError(f"the engine cannot carry out {command}")

    def recall_cues(self, now: int, out: list[Delivery]) -> None:
        """Recall the scenes whose places the time code has reached."""
        cues = self._state.sync.cues
        numbers, cues.recalls = cues.recalls, []
        for number in numbers if self._state.led_by is None else ():
            self._state.reports.outcomes.append(self._recall(now, number, "time code", out))

    # Scenes

    def _recall(self, now: int, scene: int | str, who: str, out: list[Delivery]) -> CommandResult:
        compiled = self._state.compiled
        number = scene if isinstance(scene, int) and scene in compiled.scenes else compiled.find(scene)
        if number is None:
            text = f"there is no scene {_scene_in_words(scene)}; nothing changed{self._meant(scene)}"
            return self._state.outcome("scene", AnswerCode.UNKNOWN_SCENE, text, who)
        self._state.setlist.move_to(number)
        return self._switch(now, number, "scene", who, out)

    def _meant(self, scene: int | str) -> str:
        """The end of a sentence, for whoever typed a name or number: the nearest name, if any, and all scenes."""
        if isinstance(scene, int):  # a foot switch: nobody reads a list
            return ""
        known = self._state.compiled.rig.scenes
        near = nearest_scene(scene, known)
        meant = f' Did you mean "{near}"?' if near else ""
        return f".{meant} There are: {listed_scenes(known)}"

    def _step(self, now: int, step: int, word: str, who: str, out: list[Delivery]) -> CommandResult:
        setlist = self._state.setlist
        number = setlist.beside(step)
        if number is None:
            text = f"already at the {'end' if step > 0 else 'beginning'} of {setlist.words}"
            return self._state.outcome(word, AnswerCode.END_OF_SETLIST, text, who)
        setlist.go(step)
        return self._switch(now, number, word, who, out)

    def _go_to_entry(self, now: int, entry: int, who: str, out: list[Delivery]) -> CommandResult:
        setlist = self._state.setlist
        last = len(setlist.numbers)
        if not 1 <= entry <= last:
            text = f"there is no entry {entry} in {setlist.words}, only 1 to {last}; nothing changed"
            return self._state.outcome("entry", AnswerCode.UNKNOWN_ENTRY, text, who)
        setlist.place = entry - 1
        return self._switch(now, setlist.numbers[setlist.place], "entry", who, out)

    # Songs

    def _step_song(self, now: int, step: int, word: str, who: str, out: list[Delivery]) -> CommandResult:
        setlist = self._state.setlist
        place = setlist.beside_song(step)
        if place is None:
            text = f"already in the {'last' if step > 0 else 'first'} song of {setlist.words}"
            return self._state.outcome(word, AnswerCode.END_OF_SETLIST, text, who)
        setlist.place = place
        return self._switch(now, setlist.numbers[place], word, who, out)

    def _choose_song(self, now: int, name: str, who: str, out: list[Delivery]) -> CommandResult:
        """Its first scene, with the song in force even if the set list does not have it."""
        state = self._state
        song = state.compiled.songs.get(name)
        if song is None:
            text = f"{no_such('song', name, state.compiled.songs)}; nothing changed"
            return state.outcome("song", AnswerCode.UNKNOWN_SONG, text, who)
        place = state.setlist.start_of(name)
        if place is None:
            state.setlist.move_to(song.numbers[0])
        else:
            state.setlist.place = place
        return self._switch(now, song.numbers[0], "song", who, out, name)

    def _transpose(self, now: int, step: int, who: str, out: list[Delivery]) -> CommandResult:
        state = self._state
        wanted = max(-LAST_STEP, min(LAST_STEP, state.step + step)) if step else 0
        if wanted == state.step:
            text = "transposed no further" if wanted else "not transposed"
            return state.outcome("transpose", AnswerCode.UNCHANGED, text, who)
        state.step = wanted
        self.transposed(now, out)
        text = f"transposed by {wanted:+d} {plural(abs(wanted), 'semitone')}" if wanted else "no longer transposed"
        return state.outcome("transpose", AnswerCode.DONE, text, who)

    def transposed(self, now: int, out: list[Delivery]) -> None:
        """Song or foot transpose by another number of semitones: the scene in force plays on so."""
        state = self._state
        state.scenes.forget_steps()
        before = state.scene
        if before is None or before.number not in state.compiled.scenes:
            return
        scene = state.ready(before.number)
        if scene is not before:
            self._put_in_force(now, scene, before.places, out)
            self._settling.change(now, before.routes, out)

    # Set lists

    def _choose_setlist(self, name: str, who: str) -> CommandResult:
        """The scene in force stays; where the new list has it, the show goes on there, else before its first."""
        state, listed = self._state, self._state.compiled.setlists
        if name not in listed:
            text = f"{no_such('set list', name, filter(None, listed))}; nothing changed"
            return state.outcome("setlist", AnswerCode.UNKNOWN_SETLIST, text, who)
        if name != (state.setlist.name or ""):
            state.choose_setlist(name)
            if state.scene is not None:
                state.setlist.move_to(state.scene.number)
        following = state.setlist.beside(1)
        then = "last entry"
        if following is not None:
            then = f"next is scene {following} {state.compiled.scenes[following].name}"
        return state.outcome("setlist", AnswerCode.DONE, f"{state.setlist.words}, {then}", who)

    def recall_at(self, now: int, number: int, places: Places, who: str, out: list[Delivery]) -> None:
        """Recall the scene of this number with the instruments where another engine has them."""
        self._state.setlist.move_to(number)
        self._switch(now, number, "scene", who, out, places=places)

    def _switch(
        self,
        now: int,
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
        state, last_song = self._state, self._state.song
        state.setlist.loaded = None
        state.song = song or state.setlist.song_of(number) or state.song
        scene = state.ready(number)
        if state.scene is None:  # the start
            for output in state.compiled.setups:
                self._outputs.set_up(now, output, out)
        left = state.scene
        repeated = left is not None and left.number == number
        routes = left.routes if left is not None and not scene.compiled.cuts else None
        if places is None:
            places = state.places if repeated else choose_places(state, scene)
        if scene is not left or places != scene.places:
            self._change(now, scene, places, out)
        self._settling.change(now, routes, out)
        self.set_tempo(now, scene, state.song_in_force if state.song != last_song else None)
        bursts = scene.entering
        if repeated or not state.rules.only_changes:
            bursts = _again(bursts)
        if left is not None and not repeated and left.leaving:
            bursts = one_after_the_other(left.leaving, bursts)
        return self._send_burst(now, bursts, state.outcome(word, AnswerCode.DONE, _named(scene), who), out)

    def set_tempo(self, now: int, scene: SceneInPlay, song: SongTable | None = None) -> None:
        """The rig's own clock runs at the tempo that the scene says, if it says one, or that a new song begins with."""
        clock, tempo = self._state.sync.clock, scene.compiled.tempo
        if tempo is None and song is not None:
            tempo = song.tempo
        if tempo is not None and clock is not None:
            clock.set_bpm(now, tempo)

    def _change(self, now: int, scene: SceneInPlay, places: Places, out: list[Delivery]) -> None:
        self._put_in_force(now, scene, places, out)
        if scene.compiled.cuts:
            self._outputs.cut(now, out)

    def _put_in_force(self, now: int, scene: SceneInPlay, places: Places, out: list[Delivery]) -> None:
        state = self._state
        scene.enter(frozenset(state.muted), places)
        before, state.scene = state.scene, scene
        if state.loops.muted:
            state.loops.lift()
        self._delayed.leave(now, before, scene, out)

    def resend(self, now: int, who: str, out: list[Delivery]) -> CommandResult:
        """Send the sounds of the scene in force again."""
        scene = self._state.scene
        if scene is None:
            return self._state.outcome(
                "resend", AnswerCode.NOT_POSSIBLE, "no scene is in force yet; nothing was sent", who
            )
        outcome = self._state.outcome("resend", AnswerCode.DONE, f"{_named(scene)} sent again", who)
        result = self._send_burst(now, _again(scene.bursts), outcome, out)
        self._settling.tell_again(now, out)
        return result

    def _send_burst(self, now: int, bursts: Bursts, outcome: CommandResult, out: list[Delivery]) -> CommandResult:
        """The outcome with what was sent. Its cost is that at the present speeds of the cables."""
        sent: dict[int, tuple[BurstUnit, ...]] = {}
        unchanged = 0
        for cable in self._state.cables:
            steps = bursts.get(cable.output, ())
            if not steps and cable.due is None and cable.remote is None:
                continue  # else an earlier burst may wait there, which is replaced, also by nothing
            if needed := self._outputs.burst(now, cable.output, steps, out):
                sent[cable.output] = needed
                self._outputs.command_steps(cable.output, needed)
            if len(needed) < len(steps):
                unchanged += instruments(steps) - instruments(needed)
        cables = self._state.cables
        cost = burst_cost((cables[output].speed, steps) for output, steps in sent.items())
        return replace(
            outcome,
            burst_bytes=cost.bytes,
            ready_ns=cost.ready_ns,
            instruments=cost.instruments,
            unchanged=unchanged,
            bursts=sent,
        )

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
        if state.scene is not None:
            before = state.scene.routes
            state.scene.mute(frozenset(state.muted))
            if on:  # its filters will not hear of the releases of what they have begun
                state.renew_filters(lambda at, path: path.is_called(route))
                ended = state.scene.keeping_state(route)
                self._delayed.end(now, {which(*each) for each in ended for which in (player, holder)}, out)
            self._settling.change(now, before, out)
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
        state.ledger.forget_keys()
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
        channels = (gear.channel, *gear.spare)
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


def _named(scene: SceneInPlay) -> str:
    return f"scene {scene.number} {scene.name}"


def _again(bursts: Bursts) -> Bursts:
    return {output: again(steps) for output, steps in bursts.items()}


def _scene_in_words(scene: int | str) -> str:
    """Names in quotes, numbers without, also those that came as text."""
    return str(scene) if isinstance(scene, int) or scene.isdecimal() else f'"{scene}"'
