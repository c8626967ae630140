"""What an answer takes that is more than handing it over: a release follows its press, pedals and values that players
share are merged, and what must be known later is written down.
"""

from collections.abc import Iterable
from typing import Any

from engine.core.cable.output_cable import Delivery, Unit
from engine.core.cable.replaceable_values import resets
from engine.core.routing.active_sensing import SENSE
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.held_presses import Target
from engine.core.routing.inputs import Inputs
from engine.core.routing.merged_pedals import PedalTurns
from engine.core.routing.routed_message import RoutedMessage, without
from engine.core.routing.sent_values import position_of
from engine.core.routing.settling import Settling
from engine.core.state import State
from engine.core.timing.sync import is_clock
from engine.midi.kinds import is_release


class SpecialAnswers:
    """Outputs and inputs are indices, times in nanoseconds; what is to be handed over now is appended to `out`."""

    def __init__(self, state: State, inputs: Inputs, delayed: DelayedSending, settling: Settling) -> None:
        self._state, self._inputs, self._delayed, self._settling = state, inputs, delayed, settling
        self._notes, self._sent, self._places = state.ledger.notes, state.ledger.sent, state.positions.places
        self._values, self._alone, self._ringing = self._sent.values, state.ledger.pedals.alone, self._notes.ringing

    def released(self, now: int, source: int, message: bytes, answer: RoutedMessage) -> Iterable[tuple[int, Unit]]:
        """A release goes where its press went; what else the scene makes of it goes its own way."""
        held = answer.held
        if self._state.gestures.leading:  # an older scene's filter may hold what began there
            held += self._state.gestures.held(now, source, message)
        kept = self._delayed.keep(source, held) if held else None
        offs = self._notes.release(source, message, kept)
        if offs is not None:
            units: list[tuple[int, Unit]] = [(output, (off,)) for output, off in offs]
            if answer.others:
                units += answer.others
            return units
        passing = (
            (output, tuple(item for item in unit if not is_release(item) or self._may_pass(source, output, item)))
            for output, unit in answer.units
        )
        return ((output, unit) for output, unit in passing if unit)

    def _may_pass(self, source: int, output: int, off: bytes) -> bool:
        """A release without a press passes, unless another player holds that key, or a full cable has it already."""
        cable = self._state.cables[output]
        if cable.full and not cable.takes_stray(off):
            cable.counts.shed += 1
            return False
        return not self._notes.held_elsewhere(source, Target(output, off[0] & 0x0F, off[1]))

    def where_room_is(self, answer: RoutedMessage) -> RoutedMessage:
        """A full cable begins no note, so that what waits there is never more releases than notes."""
        cables = self._state.cables
        shed = {output for output, _ in answer.units if cables[output].full}
        for output, unit in answer.units:
            cables[output].counts.shed += len(unit) * (output in shed)
        return without(answer, shed)

    def system(
        self, now: int, source: int, message: bytes, units: Iterable[tuple[int, Unit]]
    ) -> Iterable[tuple[int, Unit]]:
        """What is left of a system message's deliveries."""
        if message == SENSE:
            units = tuple(units)
            self._state.sensing.carry(now, (output for output, _ in units))
            return units
        return self._state.sync.let_through(now, source, message, units) if is_clock(message) else units

    def put_merged(
        self,
        now: int,
        source: int,
        message: bytes,
        answer: RoutedMessage,
        units: Iterable[tuple[int, Unit]],
        out: list[Delivery],
    ) -> None:
        """Put what several players may have a say in; banks and programs are among it."""
        state = self._state
        if state.merging.on and state.routes is not None:
            units = state.merging.merge(source, message, units, state.routes)
        for output, unit in units:
            cable = state.cables[output]
            (cable.select if answer.selects else cable.put)(now, unit, out)

    def put_pedals(
        self, now: int, source: int, message: bytes, answer: RoutedMessage, pedals: PedalTurns, out: list[Delivery]
    ) -> None:
        """Write down where pedals are, and nothing else, and send what all that hold them make of it."""
        state, way = self._state, pedals.way
        stamp: Any = now  # for the tuples below: an `int` would be made an object for each of them, compiled
        if state.delayed.due is not None:
            state.delayed.outdate(source, answer.units, state.places)
        units, before = answer.units, self._alone.get(way)
        if before is None:
            self._sent.move(source, message, answer.moves)
            units = state.ledger.turn_all(pedals)
        else:  # nobody else has a word in them: the same, without looking
            self._alone[way] = pedals
            if not pedals.up:
                self._values.update(answer.sent)
            elif self._sent.keeps:
                self._sent.move(source, message, answer.moves)
            else:
                for moved in way.moved:
                    self._values.pop(moved, None)
            if pedals.down is not before.down:
                self._ringing.turn(way, pedals.down, self._notes.holders)
        self._places[source][answer.position] = message
        cables = state.cables
        for output, unit in units:
            cable = cables[output]
            if cable.straight:  # what `put` does there, without the call
                out.append((output, unit[0], stamp))
            else:
                cable.put(now, unit, out)
        if state.gestures.active:
            self._settling.after_pedal(now, source, out)

    def go_on_shaping(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        """A control has this message, and no route; what still sounds by older routes hears it all the same."""
        state = self._state
        if state.routes is not None and state.gestures.leading:
            answer = state.gestures.answer(now, source, message, None)
            if answer.noted:
                self.note(now, source, message, answer, out)
            self.put_merged(now, source, message, answer, answer.units, out)
            self._settling.after_pedal(now, source, out)
        state.positions.lose(source, position_of(message))

    def note(self, now: int, source: int, message: bytes, answer: RoutedMessage, out: list[Delivery]) -> None:
        """Write down what was moved, and what is to be sent later, which may be now."""
        state = self._state
        if answer.prefix:
            state.prefixes.hear(source, message, answer.units, state.reach(source))
        if answer.merges and not self._sent.lows and state.routes is not None:
            state.merging.look_after_lows(source, message, answer.units, state.routes, state.positions)
        self._sent.move(source, message, answer.moves)
        if answer.highs and self._sent.lows:
            state.merging.note(source, answer.highs)
        if answer.position:
            state.positions.note(source, answer.position, message)
        elif resets(message):
            state.positions.reset(source, message[0] & 0x0F)
        if answer.announces:
            state.merging.hear(source, message)
            if state.mpe_inputs.hear(source, message):
                self._inputs.announced(now, source, out)
        for timed in answer.later:
            state.delayed.add(source, timed)
        if answer.later and state.delayed.due is not None and state.delayed.due <= now:
            self._delayed.send_due(now, out)
