"""Brings the channels of all outputs to what the routes in force make of hands and feet: told, or at rest.

What a scene newly reaches is told where the pedals, wheels and faders of its players really are; what is no longer fed
comes to rest. On a channel where a note sounds both wait until it is silent (`gestures`), so that no note is bent, cut
or made loud by a scene change.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from engine.core.cable.output_cable import Delivery, KeptUnit
from engine.core.routing.delayed_messages import NOBODY
from engine.core.routing.held_ledger import Target
from engine.core.routing.open_routes import OpenRoutes
from engine.core.routing.outputs import Outputs
from engine.core.routing.told_values import Channel, Moved, Told, is_at_rest, moves_of, position_of
from engine.core.state import State
from engine.midi.controllers import ON_FROM, SWITCHES
from engine.midi.kinds import CONTROLLER, NOTE_ON


class Wanted(NamedTuple):
    """What something should be moved to: the input whose hand is there, what it sent, what is to be sent."""

    source: int
    message: bytes
    sent: bytes


class Settling:
    """Outputs and inputs are indices, times in nanoseconds; what is to be sent now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs) -> None:
        self._state, self._outputs = state, outputs

    # Occasions

    def change(self, now: int, before: OpenRoutes | None, out: list[Delivery]) -> Mapping[Moved, Wanted]:
        """Other routes are in force now: what they no longer feed comes to rest. What is to be told, see `tell`."""
        state = self._state
        assert state.scene is not None, "routes belong to a scene"
        changed = set(range(len(state.compiled.inputs)))
        if before is not None and state.rules.gestures:
            same = {s for s in changed if state.boards[s] is None and before.alike(state.scene.routes, s)}
            changed -= same
            state.ledger.bind(changed, before)
        wanted = self._wanted(changed)
        self._rest(now, wanted, changed, None, out)
        return wanted

    def controls_changed(self, now: int, out: list[Delivery]) -> None:
        """The routes are the same, but controls may take what moved something: that comes to rest."""
        state = self._state
        for moved, told in state.ledger.told.moved():
            if self.consumes(told.source, told.message):
                self._outputs.put(now, state.ledger.rest(moved), out)

    def tell(self, now: int, wanted: Mapping[Moved, Wanted], out: list[Delivery]) -> None:
        """Tell what is wanted, where it is not so already, and no note sounds."""
        self._tell(now, wanted, self._sounding(), out)
        self._state.gestures.look(now)

    def after_silence(self, now: int, out: list[Delivery], at_once: Iterable[Channel] = ()) -> None:
        """Set what has waited for silence, on channels `at_once` before it has lasted."""
        ended = self._state.gestures.take_silent(now, at_once)
        if ended:
            wanted = {moved: each for moved, each in self._wanted(None).items() if moved.channel in ended}
            self._rest(now, wanted, None, ended, out)
            self._tell(now, wanted, set(), out)

    def before_press(self, now: int, source: int, targets: Iterable[Target], out: list[Delivery]) -> None:
        """A note is about to begin where something waits: what belongs to it goes first."""
        channels = {(target.output, target.channel) for target in targets} & self._state.gestures.waiting
        if not channels:
            return
        self.after_silence(now, out, channels)
        sounding = channels & self._state.gestures.waiting
        if sounding:  # a pedal that is down holds the new note, and ends none of the old ones
            pedals = {
                moved: each
                for moved, each in self._wanted({source}).items()
                if moved.channel in sounding and _is_down(each.sent)
            }
            self._tell(now, pedals, set(), out)

    def tell_output(self, now: int, output: int, out: list[Delivery]) -> None:
        """An output is back, at rest: it is told everything that the routes in force lead there."""
        wanted = {moved: each for moved, each in self._wanted(None).items() if moved.output == output}
        self._tell(now, wanted, set(), out)

    def tell_again(self, now: int, out: list[Delivery]) -> None:
        """Everything that the routes in force lead anywhere is told once more."""
        state, wanted = self._state, self._wanted(None)
        sounding = self._sounding()
        told = state.ledger.told
        same = {moved: each for moved, each in wanted.items() if told.now(moved) == each.sent}
        self._put(now, same, out)
        self._tell(now, wanted, sounding, out)

    # What is wanted, what is at rest

    def _sounding(self) -> set[Channel]:
        return self._state.ledger.sounding_channels() if self._state.rules.gestures else set()

    def _wanted(self, sources: set[int] | None) -> dict[Moved, Wanted]:
        """What the routes in force make of the positions of these inputs, or of all."""
        state = self._state
        wanted: dict[Moved, Wanted] = {}
        if state.scene is None or not state.rules.gestures:
            return wanted
        routes, told = state.scene.routes, dict(state.ledger.told.moved())
        for source in range(len(state.compiled.inputs)) if sources is None else sorted(sources):
            for message in state.positions.of(source):
                if self.consumes(source, message):
                    continue
                for moved, sent in routes.moves(source, message).items():
                    former = wanted.get(moved)
                    if former is None or former.source == source or (moved in told and told[moved].source == source):
                        wanted[moved] = Wanted(source, message, sent)
        return wanted

    def _rest(
        self,
        now: int,
        wanted: Mapping[Moved, Wanted],
        sources: set[int] | None,
        channels: set[Channel] | None,
        out: list[Delivery],
    ) -> None:
        """What these inputs have moved (on these channels), and nothing feeds, comes to rest."""
        state, sounding = self._state, self._sounding()
        for moved, told in state.ledger.told.moved():
            if sources is not None and told.source not in sources:
                continue
            if (channels is not None and moved.channel not in channels) or moved in wanted or self._fed(told, moved):
                continue
            if moved.channel in sounding and moved.what[0] & 0xF0 != NOTE_ON:
                state.gestures.waiting.add(moved.channel)
            else:
                self._outputs.put(now, state.ledger.rest(moved), out)

    def _fed(self, told: Told, moved: Moved) -> bool:
        """Whether what moved this still does; of positions that are known, what is wanted says so."""
        state = self._state
        if state.rules.gestures and state.positions.known(told.source, told.message):
            return False
        return self.feeds(told.source, told.message, moved)

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this thing by the routes in force."""
        if source == NOBODY:
            return True
        scene = self._state.scene
        return scene is not None and not self.consumes(source, message) and scene.routes.feeds(source, message, moved)

    def consumes(self, source: int, message: bytes) -> bool:
        """Whether a control takes this input's message in the scene in force, so that it takes no route."""
        board = self._state.boards[source] if source != NOBODY else None
        return board is not None and board.owns(message, self._state.scene_in_force)

    def _tell(self, now: int, wanted: Mapping[Moved, Wanted], sounding: set[Channel], out: list[Delivery]) -> None:
        """Tell what is wanted, where it is not so already; on channels that sound it waits."""
        state, told = self._state, self._state.ledger.told
        news: dict[Moved, Wanted] = {}
        for moved in sorted(wanted):  # an MSB before its LSB, which it sets to 0
            sent = wanted[moved].sent
            if not position_of(sent) or told.now(moved) == sent or (told.now(moved) is None and is_at_rest(sent)):
                continue
            if moved.channel in sounding:
                state.gestures.waiting.add(moved.channel)
            else:
                news[moved] = wanted[moved]
                state.ledger.move(*wanted[moved][:2], moves_of(moved.output, (sent,)))
        self._put(now, news, out)

    def _put(self, now: int, news: Mapping[Moved, Wanted], out: list[Delivery]) -> None:
        units: dict[Channel, list[bytes]] = {}
        for moved, each in news.items():
            units.setdefault(moved.channel, []).append(each.sent)
        for (output, _), unit in units.items():
            self._state.cables[output].put(now, KeptUnit(unit), out)


def _is_down(message: bytes) -> bool:
    """Whether this is a pedal that is down."""
    return message[0] & 0xF0 == CONTROLLER and message[1] in SWITCHES and message[2] >= ON_FROM
