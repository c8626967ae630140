"""What machines say to each other in JSON: the shape and the ranges of every word, checked before any of it is kept.

Events and orders are binary: see `engine/cluster/link/wire_format.py`.
"""

from typing import Annotated, Any, Final, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, FailFast, Field, TypeAdapter, ValidationError

from engine.cluster.pure.output_lender import ClaimRefused, Grant
from engine.core.control.setlist import LAST_STEP
from engine.core.timing.clock import FASTEST, SLOWEST

#: bytes of a word; a report of 400 ports has as many
LARGEST: Final = 65_536
#: bytes of a rig file
LARGEST_RIG: Final = 4_194_304
#: no show changes hands so often; an engine that hears a term counts on from it, and must still be able to say that
_TERMS: Final = 1 << 62
_SHOWN: Final = 80  # characters
_FEW: Final = 10  # mistakes; writing down thousands would hold Python's lock for milliseconds
_DAYS: Final = 366 * 86_400 * 1_000_000_000  # ns
_STRICT: Final = ConfigDict(strict=True, frozen=True, extra="ignore", allow_inf_nan=False)

Count = Annotated[int, Field(ge=0, lt=1 << 63)]
MachineWord = Annotated[str, Field(min_length=1, max_length=64)]
PortWord = Annotated[str, Field(min_length=1)]  # as long as a rig's names may be: a word's size bounds them
_Ports = Annotated[tuple[PortWord, ...], FailFast()]  # the library would collect every mistake, at our expense
_Bpm = Annotated[float, Field(ge=SLOWEST, le=FASTEST)]
_Scene = Annotated[int, Field(ge=0, lt=1 << 31)]
_Channel = Annotated[int, Field(ge=1, le=16)]
_Clocks = Annotated[int, Field(ge=-1, lt=1 << 63)]  # since the beginning of the song, at which none has come yet
_Place = Annotated[int, Field(ge=-1, lt=1 << 31)]
_Elapsed = Annotated[int, Field(ge=-_DAYS, le=_DAYS)]  # ns


def _with_idle(found: Any) -> Any:
    """Before clocks went on while stopped, no word said whether they did."""
    if not isinstance(found, list):
        return found
    return (*found, False) if len(found) == 3 else tuple(found)


_Stand = Annotated[tuple[_Bpm, _Clocks, _Elapsed | None, bool], BeforeValidator(_with_idle)]


class Lease(BaseModel):
    """What a machine says about its outputs.

    `epoch`: of the present grant; `holder`: the engine that plays them, None if none does; `given_to`: the engine that
    may claim them although the holder is alive; `incomplete`: outputs that have missed orders.
    """

    model_config = _STRICT
    epoch: Count
    holder: MachineWord | None
    given_to: MachineWord | None
    incomplete: _Ports = ()


class Claim(BaseModel):
    """The question of the engine `who`: may I play your outputs?"""

    model_config = _STRICT
    who: MachineWord


class _Granted(BaseModel):
    model_config = _STRICT
    epoch: Count


class _Refused(BaseModel):
    model_config = _STRICT
    holder: MachineWord


class InputReport(BaseModel):
    """What a machine that lends counts at one input."""

    model_config = _STRICT
    port: str | None = None
    messages: Count = 0
    dropped: Count = 0
    last_error: str | None = None
    shed: Count = 0
    repairs: Count = 0


class OutputReport(BaseModel):
    """The same at one output. `longest`: bytes of a SysEx that its driver takes; `load`: share of its cable."""

    model_config = _STRICT
    port: str | None = None
    messages: Count = 0
    dropped: Count = 0
    last_error: str | None = None
    longest: Count | None = None
    shed: Count = 0
    replaced: Count = 0
    waiting: bool = False
    load: Annotated[float, Field(ge=0, le=1)] = 0.0
    held: Count = 0


class LenderFaults(BaseModel):
    """What went wrong at a machine that lends.

    `garbled`: orders and claims that made no sense; `link`: faults in the link's threads; `stuck`: times its loop did
    not run for a second; `own`: all faults of Bayleaf itself there.
    """

    model_config = _STRICT
    garbled: Count = 0
    link: Count = 0
    stuck: Count = 0
    own: Count = 0


class Report(BaseModel):
    """What a machine that lends its ports tells the engines five times per second.

    `fenced`: orders of an engine that no longer held the outputs; `lost`: orders that never arrived.
    """

    model_config = _STRICT
    epoch: Count = 0
    holder: MachineWord | None = None
    fenced: Count = 0
    lost: Count = 0
    faults: LenderFaults = LenderFaults()
    inputs: dict[PortWord, InputReport] = {}
    outputs: dict[PortWord, OutputReport] = {}


_Step = Annotated[int, Field(ge=-LAST_STEP, le=LAST_STEP)]
_PlayerPlace = tuple[PortWord, tuple[_Scene, str, _Place, str, _Step], _Scene | None]


class ShowPlace(BaseModel):
    """Where a show is: number of the scene, name of the set list and place in it; the muted routes; the scene that
    show control has loaded; the instruments that are on spare channels, with these; the song in force, "" for none;
    semitones by which the foot has transposed it all; and where each player with scenes of their own is, likewise, with
    what is loaded for them."""

    model_config = _STRICT
    standing: tuple[_Scene, str, _Place] | None
    muted: Annotated[_Ports, Field(max_length=10_000)]
    loaded: _Scene | None = None
    channels: Annotated[tuple[tuple[PortWord, _Channel], ...], FailFast(), Field(max_length=10_000)] = ()
    song: str = ""
    step: _Step = 0
    players: Annotated[tuple[_PlayerPlace, ...], FailFast(), Field(max_length=100)] = ()


class TimePlace(BaseModel):
    """How clock and time code run: see `ClockStand` and `FollowTime`; None for what the rig does not have."""

    model_config = _STRICT
    clock: _Stand | None = None
    timecode: tuple[Annotated[str, Field(max_length=20)], _Elapsed | None] | None = None


class ShowWord(BaseModel):
    """The engine `speaker` says that `machine` is in charge in this term, and where the show is.

    `given`: when the show was handed over (ns of the speaker's clock), and `quiet`, whether in a quiet moment.
    """

    model_config = _STRICT
    speaker: MachineWord
    machine: MachineWord
    term: Count
    show: ShowPlace
    given: Count | None = None
    quiet: bool = False


class TimeWord(BaseModel):
    """The engine `speaker` says how its clock and time code run, `at` (ns of its clock)."""

    model_config = _STRICT
    speaker: MachineWord
    at: Count
    time: TimePlace


_Model = TypeVar("_Model", bound=BaseModel)
_ANSWER: Final[TypeAdapter[_Granted | _Refused]] = TypeAdapter(_Granted | _Refused)


def pack(word: BaseModel) -> bytes:
    """A word as it goes over the network."""
    return word.model_dump_json(exclude_defaults=True).encode()


def read_word(model: type[_Model], payload: bytes) -> _Model:
    """The word that was packed. Raises ValueError with what is wrong, in one line."""
    _check_size(payload, LARGEST)
    try:
        return model.model_validate_json(payload)
    except ValidationError as fault:
        raise ValueError(_in_one_line(fault)) from None


def read_show_word(payload: bytes) -> ShowWord:
    """The word of another engine about the show. Raises ValueError likewise."""
    word = read_word(ShowWord, payload)
    if word.term >= _TERMS:
        raise ValueError("term: no show changes hands so often")
    return word


def pack_answer(answer: Grant | ClaimRefused) -> bytes:
    """A machine's answer to a claim."""
    return pack(_Granted(epoch=answer.epoch) if isinstance(answer, Grant) else _Refused(holder=answer.holder))


def read_answer(payload: bytes) -> Grant | ClaimRefused:
    """The answer that was packed. Raises ValueError likewise."""
    _check_size(payload, LARGEST)
    try:
        answer = _ANSWER.validate_json(payload)
    except ValidationError as fault:
        raise ValueError(_in_one_line(fault)) from None
    return Grant(answer.epoch) if isinstance(answer, _Granted) else ClaimRefused(answer.holder)


def read_rig(payload: bytes) -> str:
    """The text of a rig, empty if an engine no longer plays one. Raises ValueError likewise."""
    _check_size(payload, LARGEST_RIG)
    return payload.decode()


def _check_size(payload: bytes, most: int) -> None:
    if len(payload) > most:
        raise ValueError(f"it has {len(payload):,} bytes, more than {most:,}")


def _in_one_line(fault: ValidationError) -> str:
    if (count := fault.error_count()) > _FEW:
        return f"{count:,} values in it are wrong"
    first = fault.errors(include_url=False, include_context=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    # a place may be a name that the other machine made up
    return f"{place}: {first['msg']}" if place.isprintable() and 0 < len(place) < _SHOWN else first["msg"]
