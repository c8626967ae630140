"""Lets a fader do nothing after a scene change until it passes the value in force, so that no level jumps.

`controllers = [7, 11]` names the faders. The value in force is the one that the instrument was sent last, by whatever:
a scene, this fader or another one; or the resting value, if the controller has one. If it is not known, or the fader is
there already, the fader moves it at once. Channels are counted separately. The LSB of a 14-bit controller passes when
its MSB does. Filters that change values belong before this one.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from engine.midi.controllers import KEEP_ORDER, MODE_MESSAGES, MSB_OF
from filters._values import as_list
from filters.registry import FilterSettings, Since, Step, Surroundings
from filters.steps.catch import catching

KEEPS_STATE = True
PASSES_LATER = True


def _fader(found: Any) -> Any:
    if type(found) is not int or not 0 <= found < MODE_MESSAGES.start or found in KEEP_ORDER or found in MSB_OF:
        raise ValueError("a controller that a fader may move: from 1 to 31 or from 70 to 119, no bank, data or switch")
    return found


_Faders = Annotated[tuple[Annotated[int, BeforeValidator(_fader)], ...], as_list("controllers")]


class Settings(FilterSettings):
    """Controller numbers, those of MSBs and of single controllers."""

    filter: Annotated[Literal["catch"], Since(2)]
    controllers: _Faders


def build(settings: Settings, surroundings: Surroundings) -> Step:
    """The faders by number."""
    return catching(frozenset(settings.controllers), surroundings.in_force)
