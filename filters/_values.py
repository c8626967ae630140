"""The kinds of value in filters' settings, each with an error that says what is allowed.

TOML's integer keys arrive as text ("36"), its lists as Python lists; both are converted here, before the strict models
check them. Numbers are the printed ones of the rig file: channels 1 to 16, programs 1 to 128, all others 0 to 127.
"""

import math
from collections.abc import Callable, Iterable
from typing import Annotated, Any, TypeVar

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)

from engine.midi.controllers import MODE_MESSAGES
from engine.midi.message_words import MiddleC, note_number
from filters.registry import FilterSettings

S = TypeVar("S", bound=FilterSettings)
Check = Callable[[Any], int]


def whole(what: str, low: int, high: int) -> Check:
    """A check that a whole number lies in low..high; `what` opens the error ("a channel" from 1 to 16)."""

    def check(found: Any) -> int:
        if type(found) is not int or not low <= found <= high:  # type(), since True is an int too
            raise ValueError(f"{what} from {low} to {high}")
        return found

    return check


def _note(found: Any, info: ValidationInfo) -> int:
    """The rig says how its gear prints note 60."""
    middle_c: MiddleC = (info.context or {}).get("middle_c", "C4")
    try:
        if isinstance(found, str):
            return note_number(found, middle_c)
        return whole("", 0, 127)(found)
    except ValueError:
        text = f'a note from 0 to 127, or its name such as "{middle_c}" (note 60), "F#3" or "Bb2"'
        raise ValueError(text) from None


def _from_digits(found: Any) -> Any:
    return int(found) if isinstance(found, str) and found.isascii() and found.isdigit() else found


def _as_key(check: Check) -> BeforeValidator:
    """The same check for a table's key, whose digits arrive as text."""
    return BeforeValidator(lambda found: check(_from_digits(found)))


def as_list(what: str) -> BeforeValidator:
    """A check that the value is a list of at least one entry, which becomes a tuple."""

    def check(found: Any) -> Any:
        if not isinstance(found, list | tuple) or not found:
            raise ValueError(f"a list of {what}, at least one")
        return tuple(found)

    return BeforeValidator(check)


def _low_to_high(lowest: int, example: str) -> WrapValidator:
    """A check of [low, high], or of the same as text, in which either end may be left open; the top is 127."""

    def check(found: Any, handler: ValidatorFunctionWrapHandler) -> Any:
        ends = _ends(found, lowest) if isinstance(found, str) else found
        if not isinstance(ends, list | tuple) or len(ends) != 2:
            raise ValueError(f"two values, [low, high], or a range such as {example}")
        low, high = handler(tuple(ends))
        if low > high:
            raise ValueError(f"two values, [low, high], or a range such as {example}, the lower one first")
        return (low, high)

    return WrapValidator(check)


def _ends(text: str, lowest: int) -> list[Any]:
    """The ends of "C2..B3", "..B3" or "C4.."; none of anything else."""
    low, dots, high = (part.strip() for part in text.partition(".."))
    return [_from_digits(low or lowest), _from_digits(high or 127)] if dots and (low or high) else []


def _apart(found: tuple[int, int]) -> tuple[int, int]:
    if found[0] == found[1]:
        raise ValueError("two different values, [low, high]")
    return found


def _bank(found: Any) -> Any:
    if not isinstance(found, list | tuple) or len(found) != 2:
        raise ValueError("a bank as [msb, lsb]")
    return tuple(found)


def _table(found: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    if not isinstance(found, dict) or not found:
        raise ValueError("a table with at least one entry, such as { 1 = 2 }")
    table = handler(found)
    if len(table) != len(found):
        raise ValueError("each key only once (a note must not appear both by its number and by its name)")
    return table


def needs_one(settings: S, *names: str) -> S:
    """The settings, if at least one of these was given. Raises ValueError otherwise: the filter would do nothing."""
    if not settings.model_fields_set.intersection(names):
        raise ValueError(f"at least one of {', '.join(names)}")
    return settings


def not_both(settings: S, keep: Iterable[Any], drop: Iterable[Any], what: str) -> S:
    """The settings, if nothing is both kept and dropped. Raises ValueError, which names what is."""
    if both := set(keep).intersection(drop):
        raise ValueError(f"{what} {min(both)} is in keep and in drop; remove it from one of them")
    return settings


def scale(value: int, top: int, low: int, high: int) -> int:
    """Scale 0..top to low..high linearly, both ends exactly, halves rounded up."""
    return low + (2 * value * (high - low) + top) // (2 * top)


def curved(value: int, curve: int) -> int:
    """0..127 on a curve of -100 to 100: above 0 low values become higher, below 0 lower; 0 is straight."""
    return round(127 * math.pow(value / 127, math.pow(2, -curve / 50)))


TABLE = WrapValidator(_table)
_channel = whole("a channel", 1, 16)
_program = whole("a program", 1, 128)
_controller = whole("a controller", 0, MODE_MESSAGES.start - 1)

Channel = Annotated[int, BeforeValidator(_channel)]
Channels = Annotated[tuple[Channel, ...], as_list("channels")]
ChannelKey = Annotated[int, _as_key(_channel)]

Value = Annotated[int, BeforeValidator(whole("a value", 0, 127))]
_VALUES = _low_to_high(0, '"20..127", "..80" or "64.."')
Values = Annotated[tuple[Value, Value], _VALUES]
Travel = Annotated[tuple[Value, Value], _VALUES, AfterValidator(_apart)]
Curve = Annotated[int, BeforeValidator(whole("a curve", -100, 100))]
Bank = Annotated[tuple[Value, Value], BeforeValidator(_bank)]

Velocity = Annotated[int, BeforeValidator(whole("a velocity", 1, 127))]
Velocities = Annotated[tuple[Velocity, Velocity], _low_to_high(1, '"20..127", "..80" or "64.."')]

Program = Annotated[int, BeforeValidator(_program)]
ProgramKey = Annotated[int, _as_key(_program)]

Controller = Annotated[int, BeforeValidator(_controller)]
Controllers = Annotated[tuple[Controller, ...], as_list("controllers")]
ControllerKey = Annotated[int, _as_key(_controller)]
ControllerOrMode = Annotated[int, BeforeValidator(whole("a controller", 0, 127))]

NoteNumber = Annotated[int, BeforeValidator(_note)]
Notes = Annotated[tuple[NoteNumber, NoteNumber], _low_to_high(0, '"C2..B3", "..B3" or "C4.."')]
_note_key = BeforeValidator(lambda found, info: _note(_from_digits(found), info))
NoteKey = Annotated[int, _note_key]
NoteMap = Annotated[dict[NoteKey, NoteNumber], TABLE]
