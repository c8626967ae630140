"""The inputs as a whole: releases what one holds when its cable is pulled, it falls silent, or it closes a loop."""

from engine.core.cable.output_cable import Delivery
from engine.core.routing.active_sensing import SENSE
from engine.core.routing.delayed_sending import DelayedSending
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import NOBODY, all_of
from engine.core.routing.routed_message import TimedMessage
from engine.core.state import State


class Inputs:
    """Inputs are indices, times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs, delayed: DelayedSending) -> None:
        self._state, self._outputs, self._delayed = state, outputs, delayed

    def there(self, source: int) -> None:
        """The port of an input has been opened: it has promised nothing yet."""
        self._state.sensing.forget(source)

    def lost(self, now: int, source: int, out: list[Delivery]) -> None:
        """The port of an input is gone: what it holds is released, what it moved comes to rest."""
        self._state.sensing.forget(source)
        self._state.loops.lift(source=source)
        self._state.mpe_inputs.forget(source)
        self._release(now, source, out)

    def announced(self, now: int, source: int, out: list[Delivery]) -> None:
        """An MPE controller has another zone: its notes end, and what it moved comes to rest (M1-100)."""
        text = "it has announced another MPE zone; its notes are released"
        self._state.reports.news.append((self._state.compiled.inputs[source], text))
        self._release(now, source, out)

    def _release(self, now: int, source: int, out: list[Delivery]) -> None:
        state = self._state
        board = state.boards[source]
        if board is not None:
            board.forget()
        state.prefixes.forget(source)
        state.positions.forget(source)  # before its filters begin again, which ask for them
        state.renew_filters(lambda at, path: at == source)
        self._delayed.end(now, all_of(source), out)
        self._outputs.put(now, state.ledger.abandon(source), out)
        state.merging.forget(source)
        state.gestures.unsettled.pop(source, None)
        state.gestures.notes_changed(now)

    # Active sensing

    def keep_sensing(self, now: int, out: list[Delivery]) -> None:
        """Release what silent inputs hold, and send active sensing where it is due."""
        state = self._state
        for source in state.sensing.silenced(now):
            text = "fell silent (no active sensing for 330 ms); its notes are released"
            state.reports.news.append((state.compiled.inputs[source], text))
            self._release(now, source, out)
        self._outputs.put(now, ((output, SENSE) for output in state.sensing.outputs_due(now)), out)

    # Loops

    def ask_for_loops(self, now: int, out: list[Delivery]) -> None:
        """Send the questions that suspicion of a loop has raised; repeated ones follow what is routed now."""
        loops, delayed = self._state.loops, self._state.delayed
        questions, loops.questions = loops.questions, []
        self._outputs.put(now, ((each.output, each.message) for each in questions if not each.again), out)
        for each in questions:
            if each.again:
                delayed.add(NOBODY, TimedMessage(now, each.message, (each.output,), True))

    def hear_question(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        """One of our own questions has come back, or is on its way through other routes of ours."""
        state = self._state
        found, goes_on = state.loops.hear(now, source, message)
        if goes_on:
            ways = state.loops.open_outputs(source, state.reach(source))
            self._outputs.put(now, ((output, message) for output in ways), out)
        if found is not None:
            inputs, outputs = state.compiled.inputs, state.compiled.outputs
            text = f'a loop was found: what goes to "{outputs[found.output]}" comes back here; this connection is muted'
            state.reports.news.append((inputs[source], f"{text} until the cable or the scene changes"))
            self._release(now, source, out)
