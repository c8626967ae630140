"""The rig file as models: what each key is called and which values it may have.

Numbers are the ones printed on gear: channels 1 to 16, programs 1 to 128, banks and values 0 to 127.
Checks that need two places of the file at once are in `checks`.
"""

import re
from functools import cache, reduce
from ipaddress import ip_address
from operator import or_
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    create_model,
    field_validator,
    model_validator,
)

from engine.midi.kinds import is_whole
from engine.midi.timecode import RATES, read_label
from filters.registry import FilterSettings, registry


def _between(low: int, high: int) -> AfterValidator:
    """A whole number in a range, both ends included; the error says the whole range."""

    def check(found: int) -> int:
        if not low <= found <= high:
            raise ValueError(f"{low} to {high}")
        return found

    return AfterValidator(check)


def _program(found: int) -> int:
    """Which end of 0 to 128 is too far depends on programs_from, which `checks` looks at."""
    if not 0 <= found <= 128:
        raise ValueError("1 to 128, or 0 to 127 for an instrument with programs_from = 0")
    return found


Channel = Annotated[int, _between(1, 16)]
Value = Annotated[int, _between(0, 127)]
PrintedProgram = Annotated[int, AfterValidator(_program)]
BankUse = Literal["none", "msb", "lsb", "msb lsb"]
Action = Literal[
    "scene",
    "next",
    "back",
    "first",
    "panic",
    "resend",
    "tap",
    "clock start",
    "clock continue",
    "clock stop",
    "timecode start",
    "timecode stop",
    "mute",
    "unmute",
    "send",
]

_TIME = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?(ms|s)")
_LONGEST = 60_000_000_000  # ns; a longer settle time or guard is a slip of the pen


def _bank(found: Any) -> Any:
    if not isinstance(found, list) or len(found) != 2:
        raise ValueError("a bank as [msb, lsb]")
    return tuple(found)


Bank = Annotated[tuple[Value, Value], BeforeValidator(_bank)]


def _text(found: str) -> str:
    if not found.strip():
        raise ValueError("a text that is not empty")
    return found


Text = Annotated[str, AfterValidator(_text)]


def _names(found: Any) -> Any:
    """One name or a list of names, as a tuple."""
    if isinstance(found, str):
        return (found,)
    if not isinstance(found, list) or not found:
        raise ValueError('a name, or a list of names such as ["keys", "pads"]')
    return tuple(found)


def _order(found: Any) -> Any:
    """A set list's scenes, as a tuple."""
    if not isinstance(found, list) or not found:
        raise ValueError('a list of scenes by number or name, at least one, such as [11, "Finale"]')
    return tuple(found)


def _messages(found: Any) -> Any:
    """Messages in hexadecimal, as bytes."""
    try:
        listed = tuple(bytes.fromhex(one) for one in found) if isinstance(found, list) else ()
    except (TypeError, ValueError):
        listed = ()
    if not listed or not all(is_whole(one) for one in listed):
        raise ValueError('a list of whole messages in hexadecimal, such as ["B0 07 64", "F0 7D 01 F7"]')
    return listed


def _milliseconds(found: Any) -> Any:
    """ "30 ms" or "1.5 s" as nanoseconds."""
    match = _TIME.fullmatch(found.strip()) if isinstance(found, str) else None
    nanoseconds = round(float(match[1]) * (1_000_000 if match[2] == "ms" else 1_000_000_000)) if match else None
    if nanoseconds is None or nanoseconds > _LONGEST:
        raise ValueError('a time with its unit, up to a minute, such as "30 ms" or "1.5 s"')
    return nanoseconds


Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
Nanoseconds = Annotated[int, BeforeValidator(_milliseconds)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class About(_Part):
    name: str = "Untitled rig"
    start: str | int = "last"


class _Port(_Part):
    port: Text | None = None
    device: Text | None = None

    @model_validator(mode="after")
    def _one_place(self) -> "_Port":
        if (self.port is None) == (self.device is None):
            raise ValueError("give either port (a pattern on the system's port name) or device (a path)")
        return self


class Input(_Port):
    pass


class Output(_Port):
    wire: Literal["din", "fast"] = "fast"
    running_status: bool = False
    active_sensing: bool = False


class Sound(_Part):
    bank: Bank | None = None
    program: PrintedProgram


class Instrument(_Part):
    output: str
    channel: Channel
    bank: BankUse = "msb lsb"
    settle: Nanoseconds = 0
    programs_from: Literal[0, 1] = 1
    sounds: dict[str, Sound] = {}


class BurstStep(_Part):
    """Either an instrument with a sound (or a program), or an output with a channel and a program.

    A step with neither sound nor program is blank: its place is kept, and it never sends.
    """

    instrument: str | None = None
    sound: str | None = None
    output: str | None = None
    channel: Channel | None = None
    bank: Bank | None = None
    program: PrintedProgram | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "BurstStep":
        if (self.instrument is None) == (self.output is None):
            raise ValueError("give either instrument or output")
        lonely_bank = self.bank is not None and self.program is None
        if self.output is not None and (self.channel is None or self.sound is not None or lonely_bank):
            raise ValueError("a step for an output takes channel and program, bank if wanted, and no sound")
        if self.instrument is not None and self.channel is not None:
            raise ValueError("leave out channel, for the instrument has its own")
        if self.sound is not None and self.program is not None:
            raise ValueError("a step for an instrument takes either sound or program")
        if self.sound is not None and self.bank is not None:
            raise ValueError("leave out bank, for the sound has its own")
        if lonely_bank:
            raise ValueError("a bank works with a program only; give program, or leave out bank")
        return self

    @property
    def blank(self) -> bool:
        """Whether it sends nothing."""
        return self.sound is None and self.program is None


def _one_or_range(low: int, high: int) -> BeforeValidator:
    """A whole number, or [first, last] as a tuple; "any" stays."""

    def check(found: Any) -> Any:
        ends = found if isinstance(found, list) else [found]
        if found == "any":
            return found
        if len(ends) != len([end for end in ends if type(end) is int and low <= end <= high]) or len(ends) not in (
            1,
            2,
        ):
            raise ValueError(f'{low} to {high}, [first, last] of them, or "any"')
        if ends[0] > ends[-1]:
            raise ValueError("[first, last] with the smaller number first")
        return (ends[0], ends[-1])

    return BeforeValidator(check)


_Numbers = tuple[int, int] | Literal["any"] | None


class When(_Part):
    """The condition of a control: exactly one of program, controller, note, song, sysex.

    A range is kept as (first, last), one number as a range of one. `press` tells presses of a switch apart; `turn` is
    for knobs that send steps: 1 to 63 up, 127 to 65 down (common practice, no source).
    """

    program: Annotated[_Numbers, _one_or_range(1, 128)] = None
    controller: Value | None = None
    at_least: Annotated[int, _between(1, 127)] | None = None
    at_most: Annotated[int, _between(0, 127)] | None = None
    turn: Literal["up", "down"] | None = None
    note: Annotated[_Numbers, _one_or_range(0, 127)] = None
    song: Annotated[_Numbers, _one_or_range(1, 128)] = None
    sysex: str | None = None
    channel: Channel | None = None
    press: Literal["short", "long", "double"] | None = None

    @field_validator("sysex")
    @classmethod
    def _whole_sysex(cls, found: str | None) -> str | None:
        if found is None:
            return None
        try:
            message = bytes.fromhex(found)
        except ValueError:
            message = b""
        if len(message) < 3 or message[0] != 0xF0 or message[-1] != 0xF7 or max(message[1:-1]) > 0x7F:
            raise ValueError('a whole SysEx in hexadecimal, such as "F0 7D 01 F7"')
        return message.hex(" ").upper()

    @model_validator(mode="after")
    def _one_kind(self) -> "When":
        kinds = [key for key in ("program", "controller", "note", "song", "sysex") if getattr(self, key) is not None]
        if len(kinds) != 1:
            raise ValueError("give exactly one of program, controller, note, song, sysex")
        for key in ("at_least", "at_most", "turn"):
            if getattr(self, key) is not None and self.controller is None:
                raise ValueError(f"{key} goes with controller only")
        if self.turn is not None and (self.at_least is not None or self.at_most is not None or self.press is not None):
            raise ValueError("turn goes without at_least, at_most and press")
        if self.press is not None and self.controller is None and self.note is None:
            raise ValueError("press goes with controller or note only")
        if self.channel is not None and (self.song is not None or self.sysex is not None):
            raise ValueError("channel goes with program, controller or note only")
        return self

    @property
    def carries(self) -> bool:
        """Whether the message says a number by itself: a program or a song, of several."""
        return any(found == "any" or (found is not None and found[0] < found[1]) for found in (self.program, self.song))


class Control(_Part):
    """A message that commands.

    `scenes`: those it holds in, all if none; `hold`, `between`: how long a long press is, how soon the second half of a
    double one comes; `route`: what mute and unmute mean; `output`, `messages`: what send sends.
    """

    input: str
    when: When
    do: Action
    scene: int | str | None = None
    guard: Nanoseconds = 30_000_000
    passes: bool = Field(False, alias="pass")
    scenes: Annotated[tuple[int | str, ...], BeforeValidator(_order)] = ()
    hold: Nanoseconds = 600_000_000
    between: Nanoseconds = 350_000_000
    route: Text | None = None
    output: str | None = None
    messages: Annotated[tuple[bytes, ...], BeforeValidator(_messages)] = ()

    @model_validator(mode="after")
    def _what_it_needs(self) -> "Control":
        if (self.route is not None) != (self.do in ("mute", "unmute")):
            raise ValueError('route goes with do = "mute" and do = "unmute", and they need it')
        sends = self.do == "send"
        if (self.output is not None) != sends or bool(self.messages) != sends:
            raise ValueError('output and messages go with do = "send", and it needs both')
        return self

    @model_validator(mode="after")
    def _which_scene(self) -> "Control":
        carries = self.when.carries
        if self.do == "scene" and not carries and self.scene is None:
            raise ValueError('do = "scene" needs scene = NUMBER too, for this condition carries no number')
        if self.scene is not None and (self.do != "scene" or carries):
            raise ValueError('leave out scene; it goes with do = "scene" and a condition that carries no number')
        return self


class SetList(_Part):
    name: Text
    scenes: Annotated[tuple[int | str, ...], BeforeValidator(_order)]


class Route(_Part):
    """One route; `through` holds its filters' settings in order. The union of filters is made at run time."""

    name: str | None = None
    source: Names = Field(alias="from")
    to: Names
    through: tuple[FilterSettings, ...] = ()


def _place(found: str) -> str:
    """A place in time code; which frames there are depends on the rate that will run, 30 at the most."""
    read_label(found, RATES["30"])
    return found


def _tempo(found: Any) -> Any:
    if isinstance(found, bool) or not isinstance(found, int | float) or not 20 <= found <= 300:
        raise ValueError("beats a minute from 20 to 300")
    return float(found)


class Clock(_Part):
    """One clock for the rig: from the first of these sources that is alive, "internal" or inputs."""

    source: Names = Field(("internal",), alias="from")
    bpm: Annotated[float, BeforeValidator(_tempo)] = 120.0
    to: Names = ()
    run: bool = False


class TimeCode(_Part):
    """One time code for the rig; `chase`: a jump recalls the scene in force there; `with_clock`: ours runs and stops
    with a clock that is followed."""

    source: str = Field("internal", alias="from")
    rate: Literal["24", "25", "29.97 drop", "30"] = "25"
    start: str = "00:00:00:00"
    to: Names = ()
    run: bool = False
    chase: bool = False
    with_clock: bool = False

    @model_validator(mode="after")
    def _start_exists(self) -> "TimeCode":
        try:
            read_label(self.start, RATES[self.rate])
        except ValueError as fault:
            raise ValueError(f'start = "{self.start}" is no place at this rate; allowed: {fault}') from None
        return self


class Sync(_Part):
    clock: Clock | None = None
    timecode: TimeCode | None = None


class RemoteControl(_Part):
    """Who may command by show control, machine control and our own SysEx; `programs`: by bank and program, or song
    select, as well; `to`: the outputs that are answered."""

    inputs: Names
    device: Annotated[int, _between(0, 111)] = 0
    programs: bool = False
    to: Names = ()


def _address(found: str) -> str:
    try:
        return str(ip_address(found))
    except ValueError:
        raise ValueError('an address such as "127.0.0.1"') from None


class Osc(_Part):
    """Open Sound Control on a UDP port, from these addresses only."""

    port: Annotated[int, _between(1024, 65535)]
    listen: Annotated[str, AfterValidator(_address)] = "127.0.0.1"
    allow: Names = ("127.0.0.1",)

    @field_validator("allow")
    @classmethod
    def _addresses(cls, found: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(_address, found))


class Scene(_Part):
    number: Annotated[int, _between(1, 16384)]
    name: Text
    at: Annotated[str, AfterValidator(_place)] | None = None
    held: Literal["ring", "cut"] = "ring"
    routes: tuple[Route, ...] = ()
    burst: tuple[BurstStep, ...] = ()


class Rig(_Part):
    """A whole rig file."""

    format: Literal[1]
    rig: About = About()
    inputs: dict[str, Input] = {}
    outputs: dict[str, Output] = {}
    instruments: dict[str, Instrument] = {}
    routes: tuple[Route, ...] = ()
    scenes: Annotated[tuple[Scene, ...], Field(min_length=1)]
    setlists: tuple[SetList, ...] = ()
    controls: tuple[Control, ...] = ()
    sync: Sync = Sync()
    remote: RemoteControl | None = None
    osc: Osc | None = None

    def scene(self, wanted: int | str) -> Scene | None:
        """The scene of this number or name; a name wins over a number in words."""
        for scene in self.scenes:
            if wanted in (scene.name, scene.number):
                return scene
        if isinstance(wanted, str) and wanted.isascii() and wanted.isdecimal():
            return self.scene(int(wanted))
        return None


@cache
def rig_model() -> type[Rig]:
    """The model of a rig file with this installation's filters in it: `through` becomes their tagged union."""
    union: Any = reduce(or_, (entry.settings for entry in registry().values()))
    chain = Annotated[union, Field(discriminator="filter")]
    listed = BeforeValidator(lambda found: tuple(found) if isinstance(found, list) else found)

    def many(item: Any) -> Any:
        return Annotated[tuple[item, ...], listed]

    route = create_model("Route", __base__=Route, through=(many(chain), ()))
    scene = create_model("Scene", __base__=Scene, routes=(many(route), ()), burst=(many(BurstStep), ()))
    scenes: Any = Annotated[many(scene), Field(min_length=1)]
    return create_model(
        "Rig",
        __base__=Rig,
        routes=(many(route), ()),
        scenes=(scenes, ...),
        setlists=(many(SetList), ()),
        controls=(many(Control), ()),
    )
