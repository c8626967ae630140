"""The rig file as models: what each key is called and which values it may have.

Numbers are the ones printed on gear: channels 1 to 16, programs 1 to 128, banks and values 0 to 127.
Checks that need two places of the file at once are in `checks`.
"""

import re
from functools import cache, reduce
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

from filters.registry import FilterSettings, registry


def _between(low: int, high: int) -> AfterValidator:
    """A whole number in a range, both ends included; the error says the whole range."""

    def check(found: int) -> int:
        if not low <= found <= high:
            raise ValueError(f"{low} to {high}")
        return found

    return AfterValidator(check)


Channel = Annotated[int, _between(1, 16)]
Value = Annotated[int, _between(0, 127)]
Bank = Annotated[tuple[Value, Value], BeforeValidator(lambda found: tuple(found) if isinstance(found, list) else found)]
PrintedProgram = Annotated[int, _between(0, 128)]  # 0 only where programs_from = 0: see checks
BankUse = Literal["none", "msb", "lsb", "msb lsb"]
Action = Literal["scene", "next", "back", "panic", "resend"]

_TIME = re.compile(r"(\d+(?:\.\d+)?) ?(ms|s)")


def _names(found: Any) -> Any:
    """One name or a list of names, as a tuple."""
    if isinstance(found, str):
        return (found,)
    return tuple(found) if isinstance(found, list) else found


def _milliseconds(found: Any) -> Any:
    """ "30 ms" or "1.5 s" as nanoseconds."""
    if not isinstance(found, str) or not (match := _TIME.fullmatch(found.strip())):
        raise ValueError('a time with its unit, such as "30 ms" or "1.5 s"')
    return round(float(match[1]) * (1_000_000 if match[2] == "ms" else 1_000_000_000))


Names = Annotated[tuple[str, ...], BeforeValidator(_names), Field(min_length=1)]
Nanoseconds = Annotated[int, BeforeValidator(_milliseconds), Field(ge=0, le=60_000_000_000)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class About(_Part):
    name: str = "Untitled rig"
    start: str | int = "last"


class _Port(_Part):
    port: str | None = None
    device: str | None = None

    @model_validator(mode="after")
    def _one_place(self) -> "_Port":
        if (self.port is None) == (self.device is None):
            raise ValueError("either port (a pattern on the system's port name) or device (a path), not both")
        return self


class Input(_Port):
    pass


class Output(_Port):
    wire: Literal["din", "fast"] = "fast"


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
    """Either an instrument with a sound (or a program), or an output with a channel and a program."""

    instrument: str | None = None
    sound: str | None = None
    output: str | None = None
    channel: Channel | None = None
    bank: Bank | None = None
    program: PrintedProgram | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "BurstStep":
        if (self.instrument is None) == (self.output is None):
            raise ValueError("either instrument or output, not both")
        if self.output is not None and (self.channel is None or self.program is None or self.sound is not None):
            raise ValueError("a step for an output needs channel and program, and no sound")
        if self.instrument is not None and self.channel is not None:
            raise ValueError("the instrument has its channel already")
        if self.instrument is not None and (self.sound is None) == (self.program is None):
            raise ValueError("a step for an instrument needs either sound or program")
        if self.sound is not None and self.bank is not None:
            raise ValueError("the sound has its bank already")
        return self


class When(_Part):
    """The condition of a control: exactly one of program, controller, note, song, sysex."""

    program: Annotated[int, _between(1, 128)] | Literal["any"] | None = None
    controller: Value | None = None
    at_least: Annotated[int, _between(1, 127)] | None = None
    note: Value | None = None
    song: Annotated[int, _between(1, 128)] | Literal["any"] | None = None
    sysex: str | None = None

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
            raise ValueError("exactly one of program, controller, note, song, sysex")
        if self.at_least is not None and self.controller is None:
            raise ValueError("at_least goes with controller")
        return self


class Control(_Part):
    input: str
    when: When
    do: Action
    scene: int | str | None = None
    guard: Nanoseconds = 30_000_000
    passes: bool = Field(False, alias="pass")

    @model_validator(mode="after")
    def _which_scene(self) -> "Control":
        carries = "any" in (self.when.program, self.when.song)
        if self.do == "scene" and not carries and self.scene is None:
            raise ValueError('do = "scene" needs scene = NUMBER here, for the condition carries no number')
        if self.scene is not None and (self.do != "scene" or carries):
            raise ValueError('scene goes with do = "scene" and a condition that carries no number')
        return self


class SetList(_Part):
    name: str
    scenes: Annotated[tuple[int | str, ...], BeforeValidator(_names), Field(min_length=1)]


class Route(_Part):
    """One route; `through` holds its filters' settings in order. The union of filters is made at run time."""

    name: str | None = None
    source: Names = Field(alias="from")
    to: Names
    through: tuple[FilterSettings, ...] = ()


class Scene(_Part):
    number: Annotated[int, _between(1, 16384)]
    name: str
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
