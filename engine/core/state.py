"""What plays: the scenes in force, what sounds, what waits, what is muted, where the show is.

The parts of the engine share it. An edited rig is adopted with `adopt`: whatever is not touched there simply stays.
"""

from collections.abc import Callable, Mapping

from engine.answer_codes import AnswerCode
from engine.core.cable.output_cable import OutputCable
from engine.core.cable.program_burst import SentBurst
from engine.core.cable.remote_cable import RemoteCable
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import CableSpeed, pace
from engine.core.command_result import CommandResult
from engine.core.compiled import CompiledRig
from engine.core.control.control_matching import ControlConditions, InForce
from engine.core.control.controls import Switchboard
from engine.core.control.remote_messages import RemoteReader
from engine.core.control.setlist import SetListPlace, ShowPosition
from engine.core.control.stack import Stack
from engine.core.reports import Reports
from engine.core.routing.active_sensing import ActiveSensing
from engine.core.routing.channel_places import AT_HOME, Places
from engine.core.routing.compiled_scene import RoutePath
from engine.core.routing.delayed_messages import DelayedMessages
from engine.core.routing.entered_values import EnteredValues
from engine.core.routing.gestures import Gestures
from engine.core.routing.held_ledger import Ledger
from engine.core.routing.loops import Loops
from engine.core.routing.merging import Merging
from engine.core.routing.mpe_inputs import MpeInputs
from engine.core.routing.open_routes import OpenRoutes, side_by_side
from engine.core.routing.positions import Positions
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.core.routing.sent_values import Channel
from engine.core.routing.velocity_prefixes import VelocityPrefixes
from engine.core.rules import RULES, Rules
from engine.core.timing.sync import ClockAndTimecode
from engine.midi.mpe_configuration import AnnouncedZone
from engine.rig.models.rig import SongTable

#: makes the cable of an output: its index, how it is paced, whether it is plugged into another machine
CableMaker = Callable[[int, CableSpeed | None, bool], OutputCable]


def make_cable(output: int, speed: CableSpeed | None, remote: bool) -> OutputCable:
    """The cable of an output."""
    return RemoteCable(output, speed) if remote else Cable(output, speed)


class State:
    """Inputs and outputs are indices: their places in `compiled`. Only the engine and its parts change it."""

    def __init__(
        self,
        compiled: CompiledRig,
        speeds: Mapping[str, CableSpeed | None],
        maker: CableMaker,
        rules: Rules = RULES,
    ) -> None:
        self.compiled, self.rules, self.silencing = compiled, rules, rules.silencing
        self.reports = Reports()
        # messages
        self.routes: OpenRoutes | None = None  # what the scenes in force make of each input, None before the first
        self.places = AT_HOME  # where instruments are that are not on their own channels
        self.scenes = ScenesInPlay(compiled.scenes, compiled.transposed)
        self.faults = self.scenes.faults
        self.ledger = Ledger(rules.silencing.each_press)
        self.merging = Merging(self.ledger, rules.merges)
        self.entered = EnteredValues(self.ledger.sent, self.merging)
        self.positions = Positions()
        self.mpe_inputs = MpeInputs(_mpe_zones(compiled))
        self.gestures = Gestures(self.ledger.notes)
        self.loops = Loops()
        self.delayed = DelayedMessages()
        self.prefixes = VelocityPrefixes()
        self.sensing = ActiveSensing(compiled.sensed)
        self.kept_back: set[int] = set()  # inputs whose SysEx is being received as a dump, and goes nowhere else
        # outputs
        self._make_cable = maker
        self._drivers = dict(speeds)  # by output name, how its driver is to be paced
        self.remote_cables: set[int] = set()  # outputs whose cables were made for another machine
        self.cables = [self._cable(output) for output in range(len(compiled.outputs))]
        self.leaving: set[int] = set()  # outputs about to be closed: only what ends something is still sent there
        # commands
        self.boards = [
            Switchboard(conditions, compiled.sendings) if conditions else None for conditions in compiled.controls
        ]
        self.remote = RemoteReader(compiled.remote)
        #: the rest of the rig, and then the players, by name
        self.stacks = {name: Stack(name, self._setlist("", name)) for name in ("", *compiled.players.setlists)}
        self.main = self.stacks[""]
        self.stack_of = self._by_source()
        self.muted: set[str] = set()  # names of routes that carry nothing
        self.panics: dict[str | None, int] = {}  # when each instrument, and everything (None), was last silenced
        self.led_by: str | None = None  # the machine that is in charge, where this engine follows another
        self.missed = False  # whether we may have missed what it sent since its last word
        # time
        self.sync = ClockAndTimecode(compiled.sync, rules)
        compiled.show.follow(
            self.sync.bpm, self.ledger.sent, self.positions.of, self._sounding, self.mpe_inputs.announced
        )

    def _sounding(self) -> dict[Channel, bool]:
        return dict.fromkeys(self.gestures.waiting, False) | dict.fromkeys(self.ledger.notes.sounding_channels(), True)

    def sounding_channels(self) -> set[Channel]:
        """The channels that count as sounding: until what waits for silence has been set, notes may fade there."""
        return self.ledger.notes.sounding_channels() | self.gestures.waiting

    def _cable(self, output: int) -> OutputCable:
        remote = self._is_remote(output)
        (self.remote_cables.add if remote else self.remote_cables.discard)(output)
        return self._make_cable(output, self._pace(output), remote)

    def _is_remote(self, output: int) -> bool:
        return self.compiled.outputs[output] in self.compiled.remote_outputs

    def _pace(self, output: int) -> CableSpeed | None:
        name = self.compiled.outputs[output]
        return pace(self.compiled.rig.outputs.get(name), self._drivers.get(name))

    def change_driver(self, output: int, driver: CableSpeed | None) -> None:
        """An output has been opened: how its driver is to be paced, if its cable does not say so."""
        self._drivers[self.compiled.outputs[output]] = driver
        self.cables[output].change_speed(self._pace(output))

    # Stacks

    def _by_source(self) -> list[Stack]:
        """By input, the stack that it plays by; the stacks know it, too."""
        whose = self.compiled.players.inputs
        found = [self.stacks[whose.get(source, "")] for source in range(len(self.compiled.inputs))]
        for stack in self.stacks.values():
            stack.sources = frozenset(source for source, its in enumerate(found) if its is stack)
        self.in_force = [InForce(stack, self.stacks) for stack in found]  # what the controls of each input look at
        return found

    def scenes_in_force(self) -> list[tuple[Stack, SceneInPlay]]:
        """Those of all stacks that have one, the one that was recalled last at the end."""
        found = [(stack, stack.scene) for stack in self.stacks.values() if stack.scene is not None]
        return sorted(found, key=lambda each: each[0].recalled_at)

    def put_together(self, places: Places) -> None:
        """A scene, or what is open of it, has changed: what the scenes in force make of each input plays from now on.

        `places`: where instruments are that are not on their own channels.
        """
        self.places = places
        if len(self.stacks) == 1:
            self.routes = self.main.scene.routes if self.main.scene is not None else None
            return
        for _, scene in self.scenes_in_force():
            scene.move(places)
        opened = [stack.scene.routes if stack.scene is not None else None for stack in self.stack_of]
        self.routes = side_by_side(opened, self.scenes.shared.memory, self.faults, places)

    def reach(self, source: int) -> set[int]:
        """All outputs that routes of this input lead to, whatever their filters let through."""
        scene = self.stack_of[source].scene
        return scene.reach(source) if scene is not None else set()

    def transposed(self, stack: Stack) -> int:
        """Semitones by which song and foot transpose all play lines."""
        song = self.song_of(stack)
        return stack.step + (song.transpose if song is not None else 0)

    def song_of(self, stack: Stack) -> SongTable | None:
        """The song in force as the rig has it."""
        return self.compiled.songs[stack.song].song if stack.song is not None else None

    def ready(self, stack: Stack, number: int) -> SceneInPlay:
        """A scene of the rig as it is to play now, transposed by song and foot."""
        return self.scenes.at(number, self.transposed(stack))

    def scene_of(self, number: int) -> SceneInPlay | None:
        """The scene of this number, which may be in force though an edit has taken it out of the rig."""
        in_force = (scene for _, scene in self.scenes_in_force() if scene.number == number)
        return next(in_force, None) or (self.scenes.by_number[number] if number in self.compiled.scenes else None)

    def resume(self, stack: Stack, position: ShowPosition) -> None:
        """Take set list, place, song and step from an earlier show."""
        if position.setlist in self.compiled.setlists:
            self.choose_setlist(stack, position.setlist)
        stack.setlist.resume(position)
        self.follow_song(stack, position)

    def follow_song(self, stack: Stack, position: ShowPosition) -> None:
        """Take the song and the step from there, as far as this rig has the song."""
        stack.song = position.song if position.song in self.compiled.songs else None
        stack.step = position.step

    def outcome(
        self,
        do: str,
        code: AnswerCode,
        text: str,
        who: str,
        stack: Stack | None = None,
        sent: Mapping[int, SentBurst] | None = None,
        unchanged: int = 0,
    ) -> CommandResult:
        """What became of a command, as things now are; `stack`: on which it acted, if that is not the main one.

        `sent`, `unchanged`: see CommandResult.
        """
        done, scene = code is AnswerCode.DONE, (stack or self.main).in_force
        return CommandResult(do, done, code, text, who, scene, self.ledger.sounding(), unchanged, sent or {})

    # Scenes and set lists

    def renew_filters(self, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> None:
        """Filters with state of these routes (input, route) forget what they remember.

        `keep_time`: but for those that count a clock.
        """
        scenes = [scene for _, scene in self.scenes_in_force()]
        for shared in {self.scenes.shared, *(scene.shared for scene in scenes)}:  # an edit may have made them two
            shared.renew(which, keep_time)
        for scene in scenes:
            scene.renew(which, keep_time)
        self.put_together(self.places)

    def choose_setlist(self, stack: Stack, name: str) -> None:
        """Play by this set list, before its first entry; by the stack's first one if there is none of that name.

        A scene that show control has loaded stays loaded while the rig has it.
        """
        loaded = stack.setlist.loaded
        stack.setlist = self._setlist(name, stack.name)
        stack.setlist.loaded = loaded if loaded in self.compiled.scenes else None

    def _setlist(self, name: str, player: str) -> SetListPlace:
        listed = self.compiled.setlists
        if name not in listed or (player and not name):
            name = self.compiled.first_setlist(player)
        return SetListPlace(name or None, listed[name])

    # An edited rig

    def adopt(self, compiled: CompiledRig, scenes: ScenesInPlay) -> CompiledRig:
        """Be the state of an edited rig, compiled with the ports of the present one; the rig before. `scenes`: its own.

        The scene in force, the clock and what is to be sent are the caller's: see `engine.core.adoption`.
        """
        before, self.compiled = self.compiled, compiled
        self._adopt_stacks()
        self.mpe_inputs.zones = _mpe_zones(compiled)
        if compiled.rig.routes == before.rig.routes and not self.silencing.edits_reset_filters:
            self._keep_shared(scenes)
        self.scenes, self.faults = scenes, scenes.faults
        if _cabling(compiled) != _cabling(before):
            self._adopt_cables()
        if compiled.controls is not before.controls or compiled.sendings != before.sendings:
            self._adopt_controls()
        still = (output for output, name in enumerate(compiled.outputs) if name in compiled.rig.outputs)
        self.sensing.adopt(compiled.sensed, frozenset(still))
        if compiled.remote != before.remote:
            self.remote.adopt(compiled.remote)
        return before

    def _keep_shared(self, scenes: ScenesInPlay) -> None:
        """The routes of every scene are as they were: they remember what they remembered."""
        before = self.scenes.shared
        scenes.shared.take_over(before)
        for _, scene in self.scenes_in_force():
            if scene.shared is before:
                scene.shared = scenes.shared

    def _adopt_stacks(self) -> None:
        """Players that are gone leave their inputs to the rest of the rig; new ones have no scene yet."""
        there = ("", *self.compiled.players.setlists)
        self.stacks = {name: self.stacks.get(name) or Stack(name, self._setlist("", name)) for name in there}
        self.stack_of = self._by_source()
        for stack in self.stacks.values():
            if stack.song not in self.compiled.songs:
                stack.song = None

    def _adopt_cables(self) -> None:
        compiled = self.compiled
        for output, name in enumerate(compiled.outputs):
            if output >= len(self.cables):
                self.cables.append(self._cable(output))
            elif name in compiled.rig.outputs:
                if self._is_remote(output) != (
                    output in self.remote_cables
                ):  # it may have been out of the rig meanwhile
                    self.cables[output] = self._cable(output)
                else:
                    self.cables[output].change_speed(self._pace(output))

    def _adopt_controls(self) -> None:
        self.boards += [None] * (len(self.compiled.inputs) - len(self.boards))
        for source, conditions in enumerate(self.compiled.controls):
            board = self.boards[source]
            if board is not None:
                board.adopt(conditions or ControlConditions(()), self.compiled.sendings)
            elif conditions is not None:
                self.boards[source] = Switchboard(conditions, self.compiled.sendings)


def _mpe_zones(compiled: CompiledRig) -> dict[int, AnnouncedZone]:
    """The zones that the rig gives its inputs."""
    given = (
        (i, compiled.rig.inputs[name].mpe) for i, name in enumerate(compiled.inputs) if name in compiled.rig.inputs
    )
    return {source: AnnouncedZone(mpe.zone, mpe.bend, mpe.manager_bend) for source, mpe in given if mpe is not None}


def _cabling(compiled: CompiledRig) -> tuple[object, ...]:
    """What the cables depend on."""
    return compiled.outputs, compiled.rig.outputs, compiled.remote_outputs
