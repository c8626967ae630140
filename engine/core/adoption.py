"""An edited rig takes over from the one that plays, in one step, and cuts nothing that still exists.

Inputs and outputs keep their places, so what is held, moved, waiting or muted simply stays in the state. A scene that
was not touched plays on as it is, with the memories of its filters; so do the routes of every scene.
"""

from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.output_cable import BurstUnit, Delivery, again
from engine.core.compiled import CompiledRig
from engine.core.control.command_execution import CommandExecution
from engine.core.routing.channel_places import still_there
from engine.core.routing.compiled_scene import common
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.inputs import Inputs
from engine.core.routing.outputs import Outputs
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.core.routing.settling import Settling
from engine.core.state import State
from engine.midi.kinds import SYSEX
from engine.rig.lowering.whole_scenes import WholeScenes


class Adoption:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(
        self,
        state: State,
        inputs: Inputs,
        outputs: Outputs,
        delayed: DelayedSending,
        players: CommandExecution,
        settling: Settling,
    ) -> None:
        self._state, self._inputs, self._outputs = state, inputs, outputs
        self._delayed, self._players, self._settling = delayed, players, settling

    def adopt(self, now: int, compiled: CompiledRig, scenes: ScenesInPlay, out: list[Delivery]) -> None:
        """Play this rig, which was compiled with the ports of the present one, with these scenes of it.

        What was removed from the rig is released, and what changed of its sounds and set-up is sent. A scene that is
        no longer in the rig plays on until another is recalled.
        """
        state = self._state
        transposed = state.transposed
        before = state.adopt(compiled, scenes)
        if compiled.sync != before.sync:
            self._outputs.put(now, state.sync.adopt(now, compiled.sync), out)
        for source, name in enumerate(before.inputs):
            if name in before.rig.inputs and name not in compiled.rig.inputs:
                self._inputs.lost(now, source, out)
        for output, name in enumerate(before.outputs):
            if name in before.rig.outputs and name not in compiled.rig.outputs:
                self._outputs.left(now, output, out)
        if state.scene is not None:
            self._adopt_scene(now, before, state.scene, transposed, out)
            if state.rules.only_changes and compiled.setups is not before.setups:
                self._send_changed_setups(now, before, state.scene, out)
        else:
            state.choose_setlist(state.setlist.name or "")

    def _adopt_scene(
        self, now: int, before: CompiledRig, scene: SceneInPlay, transposed: int, out: list[Delivery]
    ) -> None:
        """The scene in force is now the edited one. `transposed`: how far the one before was."""
        state = self._state
        scene.stay(len(state.compiled.inputs), state.faults)
        number = _number_now(state.compiled, before, scene)
        coming = state.setlist.onwards()
        position = state.position
        assert position is not None, "a scene is in force"
        state.choose_setlist(position.setlist)
        state.setlist.resume(position._replace(scene=scene.number if number is None else number))
        if number is None:
            state.setlist.go_before(coming)
            return
        if _untouched(state.compiled, before, scene.number):
            state.scenes.keep(scene, transposed)
        state.setlist.move_to(number)
        if state.song is None:
            state.song = state.setlist.song_of(number)
        edited = state.scene = state.ready(number)
        if edited is scene:
            edited.mute(frozenset(state.muted))
            self._settling.controls_changed(now, out)
            return
        edited.enter(frozenset(state.muted), still_there(scene.places, state.compiled.spares))
        self._delayed.leave(now, scene, edited, out)
        self._settling.change(now, scene.routes, out)
        self._send_changed_bursts(now, edited, scene, out)
        if edited.compiled.tempo not in (None, scene.compiled.tempo):
            self._players.set_tempo(now, edited)

    def _send_changed_bursts(self, now: int, edited: SceneInPlay, before: SceneInPlay, out: list[Delivery]) -> None:
        state = self._state
        for output, steps in edited.bursts.items():
            if steps != before.bursts.get(output):
                self._outputs.burst(now, output, steps if state.rules.only_changes else again(steps), out)

    def _send_changed_setups(self, now: int, before: CompiledRig, scene: SceneInPlay, out: list[Delivery]) -> None:
        """The values that are new; a new output gets all when it is opened.

        SysEx, which may reset an instrument in the middle of a song, and sounds wait for the next time that all is
        sent.
        """
        state = self._state
        for output, steps in state.compiled.setups.items():
            known = before.setups.get(output, ())
            changed = tuple(step for step in steps if step not in known and _sets_values(step))
            if changed and state.compiled.outputs[output] in before.rig.outputs:
                self._outputs.note_set_up(output)
                self._outputs.burst(now, output, changed + scene.bursts.get(output, ()), out)


def _sets_values(step: BurstUnit) -> bool:
    return step.values and not any(each[0] == SYSEX or selects_sound(each) for each in step.unit)


def _number_now(compiled: CompiledRig, before: CompiledRig, scene: SceneInPlay) -> int | None:
    """The number of the scene in force in the edited rig, a new one if its name has it; None if it is gone."""
    if scene.number in compiled.scenes:
        return scene.number
    renumbered = (
        each.number for each in compiled.scenes.values() if each.name == scene.name and each.number not in before.scenes
    )
    return next(renumbered, None)


def _untouched(compiled: CompiledRig, before: CompiledRig, number: int) -> bool:
    now, then = compiled.rig, before.rig
    wholes = ([WholeScenes(rig).whole(each) for each in rig.scenes if each.number == number] for rig in (now, then))
    return common(now) == common(then) and next(wholes) == next(wholes)
