"""Tries out what a rig says of its controls, lights and displays: what a press would do, a light, a text."""

from collections.abc import Sequence
from typing import Final, TypeVar

import trio

from engine.core.control.control_commands import commands_of
from engine.core.control.control_matching import Contact
from engine.core.control.whose_stack import for_players
from engine.core.feedback_plan import FeedbackPlan, Light, Thing
from engine.live.gear.output_readiness import not_ready
from engine.live.show import Show
from engine.midi.seven_bit_text import seven_bit_text
from engine.plurals import counted
from engine.protocol import (
    Answer,
    AnswerCode,
    Handler,
    Request,
    TryControlRequest,
    TryDisplayRequest,
    TryTallyRequest,
    done,
    refused,
)
from engine.rig.models.control import Control
from engine.rig.models.feedback import read_show

_SHOWN: Final = 1.0  # seconds that a light or a text is tried
_TEXT: Final = "TEST"

_One = TypeVar("_One")


class Trials:
    """Handlers for one show. Loop only."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._under_way = trio.Lock()  # of lights and displays: two at once would leave each other's state behind
        self.handlers: dict[type[Request], Handler] = {
            TryControlRequest: self._control,
            TryTallyRequest: self._tally,
            TryDisplayRequest: self._display,
        }

    async def _control(self, asked: TryControlRequest) -> Answer:
        """Do what the control does, on the stacks of those whom it is for, in whatever scene they are."""
        show = self._show
        control = _at(show.engine.rig.controls, asked.place, "control")
        if isinstance(control, Answer):
            return control
        state = show.engine.state
        source, always = state.compiled.inputs.index(control.input), {"scenes": (), "songs": ()}
        players = state.in_force[source].counts_for(control.model_copy(update=always)) or [state.stack_of[source].name]
        commands = commands_of(control, Contact(0, _first_number(control), 0), state.compiled.sendings)
        results = [
            show.apply(one, "a test on the page")
            for each in commands
            for one in for_players(state.compiled, each, players)
        ]
        text = "; ".join(each.sentence for each in results)
        failed = next((each for each in results if not each.done), None)
        return done(text) if failed is None else refused(failed.code, text)

    async def _tally(self, asked: TryTallyRequest) -> Answer:
        """Turn a light on for a second; then it is as the show has it."""
        show = self._show
        tally = _at(show.engine.rig.tallies, asked.place, "light")
        if isinstance(tally, Answer):
            return tally
        if (answer := not_ready(show, tally.to)) is not None:
            return answer
        on, off = bytes.fromhex(tally.on), bytes.fromhex(tally.off)
        output = show.outputs.index(tally.to)
        lights = Light(on, off, tally.when)
        lamp = next(each for each in _plan(show).lamps if each.output == output and lights in each.lights)
        await self._shown(lamp.thing, on, off)
        return done(f"the light at {tally.to} was on for a second")

    async def _display(self, asked: TryDisplayRequest) -> Answer:
        """Show a text for a second; then what the show has there."""
        show = self._show
        display = _at(show.engine.rig.displays, asked.place, "display")
        if isinstance(display, Answer):
            return display
        if (answer := not_ready(show, display.to)) is not None:
            return answer
        parts = read_show(display.show)
        message = b"".join(each if isinstance(each, bytes) else seven_bit_text(_TEXT, each.width) for each in parts)
        await self._shown((show.outputs.index(display.to), display.show), message, None)
        return done(f"the display at {display.to} showed {_TEXT} for a second")

    async def _shown(self, thing: Thing, message: bytes, rest: bytes | None) -> None:
        """Send a message, and after a second what the show has there, or `rest` if it has sent nothing yet."""
        output = thing[0]
        async with self._under_way:
            self._show.send([(output, message)])
            try:
                await trio.sleep(_SHOWN)
            finally:
                now = self._show.engine.feedback_sent(thing) or rest
                self._show.send([(output, now)] if now is not None else [])


def _plan(show: Show) -> FeedbackPlan:
    return show.engine.state.compiled.feedback


def _at(listed: Sequence[_One], place: int, what: str) -> _One | Answer:
    if 0 <= place < len(listed):
        return listed[place]
    text = f"the rig has {counted(len(listed), what, zero='no')}; the first is at place 0. Nothing was sent"
    return refused(AnswerCode.NOT_POSSIBLE, text)


def _first_number(control: Control) -> int:
    """The first number that the control's message may carry, as the message has it."""
    found = control.when.program or control.when.song
    return found[0] - 1 if isinstance(found, tuple) else 0
