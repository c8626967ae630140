"""Tells gear what happens: lights that are on or off, and displays that show texts. State in, messages out.

Each thing is sent on change only, once: at the start, after each change, when its output is back, when this engine
takes over, and after an edit. What waits on a cable goes first, so no burst and no note waits for a light; a display's
SysEx, once it has begun, is on its cable until it is through.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from engine.core.cable.output_cable import Delivery
from engine.core.control.stack import Stack
from engine.core.feedback_plan import FeedbackPlan, Lamp, TextDisplay, Thing
from engine.core.routing.outputs import Outputs
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.state import State
from engine.midi.seven_bit_text import seven_bit_text
from engine.rig.models.feedback import TallyWhen

_LOOK_AGAIN: Final = 50_000_000  # ns between looks at what changes by itself
_WAIT: Final = 5_000_000  # ns until a cable on which something waits is tried again


class Feedback:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`.

    `things_sent`: what each light and display was last sent.
    """

    def __init__(self, state: State, outputs: Outputs) -> None:
        self._state, self._outputs = state, outputs
        self._plan = FeedbackPlan()
        self.things_sent: dict[Thing, bytes] = {}
        self._panic = state.panics.get(None)
        self._due: int | None = None
        self._changed = True  # anything may have, or what changes by itself alone

    @property
    def due(self) -> int | None:
        """When `look` next has something to do; None if nothing has changed."""
        state = self._state
        if self._due is None or state.led_by is not None:
            return None
        return self._due if any(stack.scene is not None for stack in state.stacks.values()) else None

    def soon(self, now: int) -> None:
        """Something may have changed."""
        self._due, self._changed = now, True

    def forget(self, now: int, output: int | None = None) -> None:
        """What is on this output, or on all of them, may have forgotten what it was sent."""
        self.things_sent = {thing: sent for thing, sent in self.things_sent.items() if output not in (None, thing[0])}
        self.soon(now)

    def look(self, now: int, out: list[Delivery]) -> None:
        """Tell what has changed."""
        state = self._state
        self._panicked()
        plan = state.compiled.feedback
        waits = False
        listed = (plan.lamps, plan.displays) if self._changed else (plan.moving_lamps, plan.moving_displays)
        for thing, message in (*self._removed(plan), *self._wanted(now, *listed)):
            if self.things_sent.get(thing) == message or thing[0] in state.leaving:
                continue
            cable = state.cables[thing[0]]
            if cable.remote is not None and not cable.remote.live:  # everything is sent when it is played from here
                continue
            if cable.due is not None:
                waits = True
                continue
            self._outputs.tell(now, thing[0], thing, message, out)
            self.things_sent[thing] = message
        if not waits and self._changed:
            self._plan = plan
            self.things_sent = {thing: sent for thing, sent in self.things_sent.items() if thing in plan.things}
        self._changed = waits
        self._due = now + _WAIT if waits else now + _LOOK_AGAIN if plan.moves else None

    def _panicked(self) -> None:
        """A panic ends all notes, those that are lights, too."""
        panic = self._state.panics.get(None)
        if panic != self._panic:
            notes = {lamp.thing for lamp in self._plan.lamps if lamp.is_note}
            self.things_sent = {thing: sent for thing, sent in self.things_sent.items() if thing not in notes}
        self._panic = panic

    def _removed(self, plan: FeedbackPlan) -> Iterator[tuple[Thing, bytes]]:
        """The lights that an edit has taken out of the rig, which go out."""
        if plan is self._plan:
            return
        for lamp in self._plan.lamps:
            sent = self.things_sent.get(lamp.thing)
            if lamp.thing not in plan.things and sent in [light.on for light in lamp.lights]:
                yield lamp.thing, next(light.off for light in lamp.lights if light.on == sent)

    def _wanted(
        self, now: int, lamps: Sequence[Lamp], displays: Sequence[TextDisplay]
    ) -> Iterator[tuple[Thing, bytes]]:
        """What each thing is to be sent."""
        routes: dict[str | None, set[str]] = {}
        for lamp in lamps:
            yield lamp.thing, self._lit(now, lamp, routes)
        texts = {name: self._texts(now, name) for name in {display.player for display in displays}}
        for display in displays:
            yield display.thing, _message(display, texts[display.player])

    # `routes`: by player, those in force, as far as they have been asked for

    def _lit(self, now: int, lamp: Lamp, routes: dict[str | None, set[str]]) -> bytes:
        on = (light.on for light in lamp.lights if self._is_on(now, light.when, routes))
        return next(on, lamp.lights[0].off)

    def _is_on(self, now: int, when: TallyWhen, routes: dict[str | None, set[str]]) -> bool:
        state = self._state
        if when.route is not None:
            if when.player not in routes:
                routes[when.player] = self._routes(when.player)
            return when.route in routes[when.player]
        if when.scene is not None:
            number = state.compiled.find(when.scene)
            return any(scene.number == number for stack, scene in self._scenes(when.player))
        if when.song is not None:
            return any(stack.song == when.song for stack, _ in self._scenes(when.player))
        return state.sync.clock_source(now) is not None

    def _scenes(self, player: str | None) -> list[tuple[Stack, SceneInPlay]]:
        """The scenes in force, of one player if they are named."""
        return [each for each in self._state.scenes_in_force() if player in (None, each[0].name)]

    def _routes(self, player: str | None) -> set[str]:
        """The names of routes and lines in these scenes that are not muted."""
        scenes = [scene.compiled for _, scene in self._scenes(player)]
        listed = (paths for scene in scenes for paths in (*scene.everywhere, *scene.own))
        names = ((path.route, path.group) for paths in listed for path in paths)
        return {name for both in names if self._state.muted.isdisjoint(both) for name in both if name is not None}

    def _texts(self, now: int, player: str | None) -> dict[str, str]:
        """What each field shows, for a player or for the rest of the rig."""
        state = self._state
        stack = state.stacks[player or ""]
        number, name = stack.in_force or (None, "")
        scene = state.compiled.rig.scene(number) if number is not None else None
        coming, bpm = stack.setlist.beside(1), state.sync.bpm(now)
        return {
            "scene.name": name,
            "scene.number": str(number or ""),
            "scene.cue": (scene.cue if scene is not None else None) or "",
            "scene.text": (scene.text if scene is not None else None) or "",
            "song.name": stack.song or "",
            "next.name": state.compiled.scenes[coming].name if coming is not None else "",
            "tempo": str(round(bpm)) if bpm is not None else "",
        }


def _message(display: TextDisplay, texts: dict[str, str]) -> bytes:
    return b"".join(
        part if isinstance(part, bytes) else seven_bit_text(texts[part.name], part.width) for part in display.parts
    )
