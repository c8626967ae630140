"""Chooses the channel of each instrument that has spare ones, so that a scene change cuts no note.

A program change on a channel may cut what sounds there. So an instrument that gets another sound while a note sounds on
its channel goes to one where nothing sounds; the scene follows it (`channel_places`).
"""

from collections.abc import Sequence

from engine.core.cable.output_cable import BurstUnit
from engine.core.routing.channel_places import AT_HOME, Places, placed_step
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.sent_values import Channel
from engine.core.state import State


def choose_places(state: State, scene: SceneInPlay) -> Places:
    """The places of a scene that is about to come into force."""
    spares = state.compiled.spares
    if not spares:
        return AT_HOME
    before = state.places
    sounding = state.sounding_channels()
    places: dict[Channel, int] = {}
    for (output, home), others in spares.items():
        now = before.get((output, home), home)
        steps = [s for s in scene.compiled.entering.get(output, ()) if s.channel == home and s.selects]
        ways = _Ways(state, output, home, others, sounding)
        chosen = ways.choose(now, steps, scene.compiled.cuts and len(state.stacks) == 1)
        if chosen != home:
            places[output, home] = chosen
    return places


class _Ways:
    """The channels of one instrument; numbers from 0."""

    def __init__(self, state: State, output: int, home: int, others: tuple[int, ...], sounding: set[Channel]) -> None:
        self._cable, self._output, self._home = state.cables[output], output, home
        self._all = (home, *others)
        self._free = [each for each in self._all if (output, each) not in sounding]

    def choose(self, now: int, steps: Sequence[BurstUnit], cuts: bool) -> int:
        """The channel for these steps, of the sound that a scene puts it on, if any; `now`: where it is."""
        if now not in self._all:  # an edit has taken it away
            now = self._home
        if not steps or (self._is_on(now, steps) and not cuts):
            return now
        if cuts:
            return self._home
        if now in self._free:
            return self._home if self._home in self._free else now
        ready = (each for each in self._free if self._is_on(each, steps))
        return [*ready, *self._free, self._home][0]

    def _is_on(self, channel: int, steps: Sequence[BurstUnit]) -> bool:
        places = {(self._output, self._home): channel}
        return all(self._cable.is_on(placed_step(self._output, step, places)) for step in steps)
