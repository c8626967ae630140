"""The filter contract, and the registry of all filters.

A filter is a module with

* a docstring that says what the player hears,
* `class Settings(FilterSettings)` with a field `filter: Literal["its-name"]` and its own settings,
* `def build(settings) -> Step`, called once when a scene is compiled, or `def build(settings, surroundings) -> Step`
  for a filter that asks for the tempo or for values in force (see `Surroundings`),
* `KEEPS_STATE = True` if the same message may get another answer the second time; if that is so with some settings
  only, a function `keeps_state(settings) -> bool` instead,
* `PASSES_LATER = True` if it holds values back that it lets through later: what it would move then counts as fed.

A setting that came with a later format of the rig file is marked `Annotated[TYPE, Since(2)]`, and so is the field
`filter` of a filter that came with it.

A `Step` is a plain callable `(message, now) -> messages`: one whole MIDI 1.0 message and the time in nanoseconds
come in, a tuple of whole messages goes out; an empty tuple drops, the same message in a tuple passes it on.
A filter that keeps state may also answer `Later(at, message)`: this message at that time. The core keeps it until then,
hands it to the filters after it, and forgets it when its input is unplugged, its scene ends or a panic comes. A newer
value of a controller, bend or pressure replaces one that still waits, and a new MSB removes a waiting LSB.
`Later(NEVER, release)` for a release keeps the note sounding though its key is up; the filter ends it with
`Later(at, release)`, as early as now. If the note must end before (see above), the core does that. A filter is
built again when its scene is recalled, its input unplugged, its route muted or a panic comes, since what it held was
released. With `KEEPS_TIME = True` a panic leaves it alone: it counts a clock, which goes on.
The core remembers the answers to short messages unless the filter keeps state, so a step without state must be a pure
function of the message.

Other packages add filters through the entry-point group `bayleaf.filters`: the entry's name is the filter's name
and its value the module.
"""

import inspect
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType
from typing import Any, Final, NamedTuple, Protocol, TypeGuard, get_args

from pydantic import BaseModel, ConfigDict

from engine.user_error import UserError


@dataclass(frozen=True)
class Since:
    """Marks a field that a rig may have from this format on; `concerns`: with which values, if not with all."""

    format: int
    concerns: Callable[[Any], bool] | None = None


class Later(NamedTuple):
    """A message that is to be sent at a later time (ns, on the clock that steps are given)."""

    at: int
    message: bytes


#: the time of a release that is kept back
NEVER: Final = 1 << 62

Step = Callable[[bytes, int], tuple[bytes | Later, ...]]


class Surroundings(Protocol):
    """What a filter may ask of the show that it plays in."""

    def tempo(self, now: int) -> float:
        """The beats per minute in force at this time (ns)."""

    def positions(self) -> Iterable[bytes]:
        """Where the pedals, wheels and faders of the input are: the last message of each, as it came in."""

    def in_force(self, controller: bytes) -> int | None:
        """The value that this message's controller has where the message would go; None if it is not known."""

    def is_in_force(self, message: bytes) -> bool:
        """Whether what this message moves is there already where the message would go: it was sent last, or is that at
        rest."""

    def sounding(self) -> Mapping[int, bool]:
        """The channels, 0 to 15, where the filter's messages go and notes sound (True) or have just sounded (False)."""

    def announced(self, manager: int) -> tuple[int, int, int, int] | None:
        """The MPE zone that the input has announced with this manager channel (1 or 16): its first and last member, and
        how far bends of members and of the manager reach in semitones. None if it has announced none since it was
        plugged in."""

    def shared(self, key: Hashable) -> dict[Any, Any]:
        """What all filters remember together, over scenes and edits, that ask by this key and lead to the same
        outputs."""


ENTRY_POINT_GROUP: Final = "bayleaf.filters"

BUILT_IN: Final = (
    "add_bank",
    "catch",
    "channels",
    "clock",
    "controllers",
    "convert",
    "echo",
    "latch",
    "mpe",
    "notes",
    "parameters",
    "programs",
    "strip",
    "sustain",
    "thin",
    "transpose",
    "velocity",
    "zone",
)


class FilterSettings(BaseModel):
    """Base of every filter's settings: frozen, strict, unknown keys rejected."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    filter: str


class FilterFault(UserError):
    """A filter module breaks the contract; the text names the filter, its file and what is wrong."""


@dataclass(frozen=True)
class Filter:
    """One registered filter."""

    name: str
    settings: type[FilterSettings]
    build: Callable[[FilterSettings, Surroundings], Step]  # raises FilterFault, whatever the module's own raises
    keeps_state: Callable[[FilterSettings], bool]
    hears: str  # first line of the module's docstring
    keeps_time: bool = False  # a panic does not make it begin again
    passes_later: bool = False  # what it holds back now


def check(name: str, module: ModuleType) -> Filter:
    """Check a module against the contract. Raises FilterFault, which names filter, file and fault."""
    where = f"filter {name!r} ({getattr(module, '__file__', None) or module.__name__})"
    settings = getattr(module, "Settings", None)
    if not (inspect.isclass(settings) and issubclass(settings, FilterSettings)):
        raise FilterFault(f"{where}: it needs a class Settings that derives from FilterSettings")
    if get_args(settings.model_fields["filter"].annotation) != (name,):
        raise FilterFault(f'{where}: Settings needs the field filter: Literal["{name}"]')
    build = getattr(module, "build", None)
    if not (_takes(build, "settings") or _takes(build, "settings", "surroundings")):
        raise FilterFault(f"{where}: it needs a function build(settings) or build(settings, surroundings)")
    hears = (module.__doc__ or "").strip()
    if not hears:
        raise FilterFault(f"{where}: its docstring must say what the player hears")
    keeps_time = _constant(module, "KEEPS_TIME", where) or False
    keeps_state = _keeps_state(module, where)
    passes_later = _constant(module, "PASSES_LATER", where) or False
    hears = hears.splitlines()[0]
    return Filter(name, settings, _guarded(build, where), keeps_state, hears, keeps_time, passes_later)


def _keeps_state(module: ModuleType, where: str) -> Callable[[FilterSettings], bool]:
    """The module's constant or function as one function of the settings."""
    by_settings = getattr(module, "keeps_state", None)
    always = _constant(module, "KEEPS_STATE", where)
    if by_settings is not None and always is not None:
        raise FilterFault(f"{where}: either KEEPS_STATE or keeps_state(settings), not both")
    if by_settings is not None:
        if not _takes(by_settings, "settings"):
            raise FilterFault(f"{where}: keeps_state must be a function keeps_state(settings)")
        return by_settings
    return lambda settings: bool(always)


def _constant(module: ModuleType, name: str, where: str) -> bool | None:
    found = getattr(module, name, None)
    if found is not None and not isinstance(found, bool):
        raise FilterFault(f"{where}: {name} must be True or False")
    return found


def _takes(function: object, *arguments: str) -> TypeGuard[Callable[..., Any]]:
    """Whether it is called with as many arguments; plug-ins may name theirs as they like."""
    try:
        return callable(function) and len(inspect.signature(function).parameters) == len(arguments)
    except ValueError:  # some built-in types do not list their parameters
        return False


def _guarded(build: Callable[..., Step], where: str) -> Callable[[FilterSettings, Surroundings], Step]:
    """The same function, whose failure names the filter; it is given the surroundings if it asks for them."""
    asks = _takes(build, "settings", "surroundings")

    def guarded(settings: FilterSettings, surroundings: Surroundings) -> Step:
        try:
            return build(settings, surroundings) if asks else build(settings)
        except Exception as fault:  # a plug-in may raise anything; the error names which one it was
            raise FilterFault(f"{where}: it cannot be built: {fault}") from fault

    return guarded


def collect(plug_ins: Iterable[EntryPoint] = ()) -> Mapping[str, Filter]:
    """A new registry of the built-in filters and these plug-ins. Raises FilterFault."""
    found = {name: check(name, import_module(f"filters.{name}")) for name in BUILT_IN}
    for entry in plug_ins:
        if entry.name in found:
            raise FilterFault(f"filter {entry.name!r} ({entry.value}): there is already a filter of that name")
        try:
            module = entry.load()
        except Exception as fault:  # a plug-in's import may raise anything; the error names which one it was
            raise FilterFault(f"filter {entry.name!r} ({entry.value}): it cannot be imported: {fault}") from fault
        found[entry.name] = check(entry.name, module)
    return found


@cache
def registry() -> Mapping[str, Filter]:
    """All filters of this installation, built-in and plug-in, found once per process."""
    return collect(entry_points(group=ENTRY_POINT_GROUP))
