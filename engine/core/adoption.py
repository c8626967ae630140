"""An edited rig takes over from the one that plays, in one step, and cuts nothing that still exists.

Inputs and outputs keep their places, so what is held, moved, waiting or muted simply stays in the state. A scene that
was not touched plays on as it is, with the memories of its filters; so do the routes of every scene.
"""

from collections.abc import Mapping

from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.output_cable import BurstUnit, Delivery, again, owned
from engine.core.commands import FirstScene
from engine.core.compiled import CompiledRig
from engine.core.control.scene_changes import SceneChanges
from engine.core.control.stack import Stack
from engine.core.routing.channel_places import still_there
from engine.core.routing.compiled_scene import common
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.inputs import Inputs
from engine.core.routing.open_routes import OpenRoutes
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
        scenes: SceneChanges,
        settling: Settling,
    ) -> None:
        self._state, self._inputs, self._outputs = state, inputs, outputs
        self._delayed, self._scenes, self._settling = delayed, scenes, settling

    def adopt(self, now: int, compiled: CompiledRig, scenes: ScenesInPlay, out: list[Delivery]) -> None:
        """Play this rig, which was compiled with the ports of the present one, with these scenes of it.

        What was removed from the rig is released, and what changed of its sounds and set-up is sent. A scene that is
        no longer in the rig plays on until another is recalled.
        """
        state = self._state
        playing = {stack: state.transposed(stack) for stack, _ in state.scenes_in_force()}
        routes, before = state.routes, state.adopt(compiled, scenes)
        if compiled.sync != before.sync:
            self._outputs.put(now, state.sync.adopt(now, compiled.sync), out)
        for source, name in enumerate(before.inputs):
            if name in before.rig.inputs and name not in compiled.rig.inputs:
                self._inputs.lost(now, source, out)
        for output, name in enumerate(before.outputs):
            if name in before.rig.outputs and name not in compiled.rig.outputs:
                self._outputs.left(now, output, out)
        if routes is not None:
            self._adopt_scenes(now, before, routes, playing, out)
            if state.rules.only_changes and compiled.setups is not before.setups:
                self._send_changed_setups(now, before, out)
        for stack in state.stacks.values():
            if stack.scene is None:
                state.choose_setlist(stack, stack.setlist.name or "")
                if stack.name and routes is not None and state.led_by is None:  # a new player
                    self._scenes.carry_out(now, FirstScene(), stack, "edit", out)

    def _adopt_scenes(
        self,
        now: int,
        before: CompiledRig,
        routes: OpenRoutes,
        playing: Mapping[Stack, int],
        out: list[Delivery],
    ) -> None:
        """The scenes in force are now the edited ones. `playing`: the stacks, and how far each was transposed;
        `routes`: what was in force."""
        state = self._state
        places = still_there(state.places, state.compiled.spares)
        edited = []
        for stack, transposed in playing.items():
            scene = stack.scene if state.stacks.get(stack.name) is stack else None
            found = self._edited(before, stack, scene, transposed) if scene is not None else None
            if scene is not None and found is not None:
                edited.append((stack, scene, found))
        for stack, scene, found in edited:
            if found is scene:
                found.mute(frozenset(state.muted))
                continue
            stack.scene = found
            found.enter(frozenset(state.muted), places)
            self._delayed.leave(now, scene, found, stack.sources, out)
        state.put_together(places)
        if all(found is scene for _, scene, found in edited) and before.players == state.compiled.players:
            if edited:
                self._settling.controls_changed(now, out)
            return
        self._settling.change(now, routes, range(len(state.compiled.inputs)), out)
        for stack, scene, found in edited:
            self._send_changed_bursts(now, stack, found, scene, out)
            if found.compiled.tempo not in (None, scene.compiled.tempo):
                self._scenes.set_tempo(now, found)

    def _edited(self, before: CompiledRig, stack: Stack, scene: SceneInPlay, transposed: int) -> SceneInPlay | None:
        """The scene in force as the edited rig has it, and the stack's place in the show; None if it is gone."""
        state = self._state
        scene.stay(len(state.compiled.inputs), state.faults)
        number = _number_now(state.compiled, before, scene)
        coming = stack.setlist.onwards()
        position = stack.position
        assert position is not None, "a scene is in force"
        state.choose_setlist(stack, position.setlist)
        stack.setlist.resume(position._replace(scene=scene.number if number is None else number))
        if number is None:
            stack.setlist.go_before(coming)
            return None
        if _untouched(state.compiled, before, scene.number):
            state.scenes.keep(scene, transposed)
        stack.setlist.move_to(number)
        if stack.song is None:
            stack.song = stack.setlist.song_of(number)
        return state.ready(stack, number)

    def _send_changed_bursts(
        self, now: int, stack: Stack, edited: SceneInPlay, before: SceneInPlay, out: list[Delivery]
    ) -> None:
        state = self._state
        for output, steps in edited.bursts.items():
            if steps != before.bursts.get(output):
                steps = steps if state.rules.only_changes else again(steps)
                self._outputs.burst(now, output, owned(steps, stack.name), out, stack.name)

    def _send_changed_setups(self, now: int, before: CompiledRig, out: list[Delivery]) -> None:
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
                self._outputs.burst(now, output, (*changed, *self._outputs.sounds_in_force(output)), out)


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
