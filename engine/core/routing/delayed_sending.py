"""Sends what filters answered for a later time, once that has come. Its notes are in the ledger like a player's."""

from collections.abc import Collection, Iterable

from engine.core.cable.output_cable import Delivery, Unit
from engine.core.routing.channel_places import placed
from engine.core.routing.delayed_messages import DueMessage
from engine.core.routing.held_presses import Target, targets_of
from engine.core.routing.merged_messages import is_merged
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import NOBODY, holder, player
from engine.core.routing.routed_message import TimedMessage
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.routing.sent_values import moves_of
from engine.core.state import State
from engine.midi.kinds import NOTE_OFF, NOTE_ON, is_press, is_release


class DelayedSending:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs) -> None:
        self._state, self._outputs = state, outputs

    def send_due(self, now: int, out: list[Delivery]) -> None:
        """What is due by now."""
        cables, prefixes = self._state.cables, self._state.prefixes
        due_now = self._state.delayed.take(now)
        for due in due_now:
            for output, unit in self._deliveries(due):
                if prefixes.any and not cables[output].full:  # it must not take what belongs to a player's note
                    unit = prefixes.with_low(output, unit)
                self._outputs.route(now, output, unit, out)
        if due_now:
            self._state.gestures.notes_changed(now)

    def _deliveries(self, due: DueMessage) -> Iterable[tuple[int, Unit]]:
        state, message = self._state, due.message
        if is_release(message):
            offs = state.ledger.notes.release(due.player, message, among=due.outputs)
            if offs is None:
                offs = state.ledger.notes.release(holder(due.source, due.lasting), message, among=due.outputs) or []
            return [(output, (off,)) for output, off in offs]
        outputs = tuple(output for output in due.outputs if output not in state.leaving)
        if is_press(message):
            outputs = tuple(output for output in outputs if not state.cables[output].full)
        units = [(output, placed(output, (message,), state.places)) for output in outputs]
        if is_press(message):
            targets = tuple(each for output, unit in units for each in targets_of(output, unit))
            state.ledger.notes.press(due.player, message, targets)
        for output, unit in units:
            state.ledger.move(due.source, message, moves_of(output, unit))
        if state.routes is not None and state.merging.on and is_merged(message):
            return state.merging.merge(due.source, message, units, state.routes, late=True)
        return units

    def keep(self, source: int, held: Iterable[TimedMessage]) -> dict[Target, tuple[int, int]]:
        """Where notes of this input go on sounding though their keys are up, and who holds them now.

        That is a player, and the channel of what will release them; the notes may be on spare channels meanwhile.
        """
        kept: dict[Target, tuple[int, int]] = {}
        spares = self._state.compiled.spares
        for timed in held:
            name = holder(source, timed.lasting)
            self._state.delayed.players.add(name)
            channel, key = timed.message[0] & 0x0F, timed.message[1]
            for output in timed.outputs:
                for each in (channel, *spares.get((output, channel), ())):
                    kept[Target(output, each, key)] = name, channel
        return kept

    def end(self, now: int, players: Collection[int], out: list[Delivery]) -> None:
        """Nothing more is sent for these players (see `delayed_messages.player`), and what sounds of theirs ends."""
        state = self._state
        state.delayed.forget({*players})
        for each in state.delayed.players.intersection(players):
            self._outputs.put(now, state.ledger.abandon(each), out)

    def leave(
        self, now: int, before: SceneInPlay | None, scene: SceneInPlay, sources: Iterable[int], out: list[Delivery]
    ) -> None:
        """A scene follows another one for these inputs: what that has delayed ends, but for routes of every scene that
        both share.

        What its filters hold rings on, and ends as its own routes say (see `gestures`).
        """
        state = self._state
        if not state.delayed.players:
            return
        lasting = (False, True) if before is not None and scene.shared is not before.shared else (False,)
        kinds = (player,) if state.rules.gestures and not scene.compiled.cuts else (player, holder)
        self.end(now, {kind(source, each) for source in sources for each in lasting for kind in kinds}, out)

    def test_note(self, now: int, target: Target, length: int, velocity: int, out: list[Delivery]) -> None:
        """A note that nobody plays, this long; it has its note-off whatever comes between."""
        on, off = (
            bytes((form | target.channel, target.key, hard)) for form, hard in ((NOTE_ON, velocity), (NOTE_OFF, 64))
        )
        self._state.ledger.notes.press(player(NOBODY, True), on, (target,))
        self._state.delayed.add(NOBODY, TimedMessage(now + length, off, (target.output,), True))
        self._outputs.put(now, ((target.output, on),), out)
