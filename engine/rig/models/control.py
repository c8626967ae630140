"""The tables of the rig file for everything that gives commands: controls, remote control, OSC."""

import re
from difflib import get_close_matches
from ipaddress import ip_address
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field, field_validator, model_validator

from engine.midi.key_messages import KEY_CODES, LAST_CODE, key_name
from engine.midi.show_control import SHOW_FORMATS
from engine.rig.models.actions import Actions, ActionTable, Word
from engine.rig.models.formats import Since
from engine.rig.models.references import Reference
from engine.rig.models.values import (
    Channel,
    Inputs,
    Messages,
    Names,
    Nanoseconds,
    Numbers,
    Outputs,
    Part,
    Scenes,
    Songs,
    Text,
    Value,
    WholeSysEx,
    between,
    one_or_range,
)

_CUE: Final = re.compile(r"[0-9]+(?:\.[0-9]+)*")
_MOST_TARGETS: Final = 16
_TARGET: Final = 'an address with its port, such as "192.168.1.20:9000" or "[::1]:9000"'


def _key(found: Any) -> Any:
    """A key by its name or, if it has none, by the number that `bayleaf learn` shows."""
    if isinstance(found, str) and found in KEY_CODES:
        return found
    if type(found) is int and 0 <= found <= LAST_CODE:
        return key_name(found)
    close = get_close_matches(str(found), KEY_CODES, 1) or ["PageDown"]
    raise ValueError(f'a key such as "{close[0]}", or its number as bayleaf learn shows it, up to {LAST_CODE}')


KeyName = Annotated[str | int, BeforeValidator(_key)]


class When(Part):
    """The condition of a control: exactly one of program, controller, note, song, sysex, key.

    A range is kept as (first, last), one number as a range of one. `press` selects one kind of press; `turn` is for
    knobs that send steps: 1 to 63 up, 127 to 65 down (common practice, no source).
    """

    program: Annotated[Numbers, one_or_range(1, 128)] = None
    controller: Value | None = None
    at_least: Annotated[int, between(1, 127)] | None = None
    at_most: Annotated[int, between(0, 127)] | None = None
    turn: Literal["up", "down"] | None = None
    note: Annotated[Numbers, one_or_range(0, 127)] = None
    song: Annotated[Numbers, one_or_range(1, 128)] = None
    sysex: WholeSysEx | None = None
    key: Annotated[KeyName | None, Since(2)] = None
    channel: Channel | None = None
    press: Literal["short", "long", "double"] | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> "When":
        known = ("program", "controller", "note", "song", "sysex", "key")
        if sum(getattr(self, key) is not None for key in known) != 1:
            raise ValueError(f"give exactly one of {', '.join(known)}")
        for key in ("at_least", "at_most", "turn"):
            if getattr(self, key) is not None and self.controller is None:
                raise ValueError(f"{key} goes with controller only")
        if self.turn is not None and (self.at_least is not None or self.at_most is not None or self.press is not None):
            raise ValueError("turn cannot be combined with at_least, at_most or press")
        if self.press is not None and self.controller is None and self.note is None and self.key is None:
            raise ValueError("press goes with controller, note or key only")
        if self.channel is not None and any(each is not None for each in (self.song, self.sysex, self.key)):
            raise ValueError("channel goes with program, controller or note only")
        return self

    @property
    def carries_number(self) -> bool:
        """Whether the message itself carries the number: a program or a song, one of several."""
        return any(found == "any" or (found is not None and found[0] < found[1]) for found in (self.program, self.song))


class Control(Part):
    """A message that triggers an action, or several in one step.

    `scenes`, `songs`: those in which it is active, all if empty; `players`: those whom it is for, whoever plays by the
    input if empty. `hold`, `between`: the length of a long press, and the longest gap in a double press (ns). `scene`,
    `route`, `output` and `messages` are for the words scene, mute and unmute, and send.
    """

    input: Annotated[str, Reference("inputs")]
    when: When
    do: Actions
    scene: Annotated[int | str | None, Reference("scenes")] = None
    guard: Nanoseconds = 30_000_000
    passes: bool = Field(False, alias="pass")
    scenes: Scenes = ()
    songs: Annotated[Songs, Since(2)] = ()
    players: Annotated[Names, Reference("players", many=True), Since(2)] = ()
    hold: Nanoseconds = 600_000_000
    between: Nanoseconds = 350_000_000
    route: Annotated[Text | None, Reference("routes")] = None
    output: Annotated[str | None, Reference("outputs")] = None
    messages: Messages = ()

    @property
    def actions(self) -> tuple[Word | ActionTable, ...]:
        """What it does, in this order."""
        return self.do if isinstance(self.do, tuple) else (self.do,)

    @property
    def words(self) -> set[str]:
        """Those of its actions that are words."""
        return {each for each in self.actions if isinstance(each, str)}

    @model_validator(mode="after")
    def _what_it_needs(self) -> "Control":
        words = self.words
        if (self.route is not None) != bool(words & {"mute", "unmute"}):
            raise ValueError('route is required with do = "mute" and do = "unmute", and not allowed otherwise')
        sends = "send" in words
        if (self.output is not None) != sends or bool(self.messages) != sends:
            raise ValueError('output and messages are required with do = "send", and not allowed otherwise')
        return self

    @model_validator(mode="after")
    def _which_scene(self) -> "Control":
        carries = self.when.carries_number
        recalls = "scene" in self.words
        if recalls and not carries and self.scene is None:
            raise ValueError('do = "scene" also needs scene = NUMBER, because this condition carries no number')
        if self.scene is not None and (not recalls or carries):
            raise ValueError('leave out scene; it is only for do = "scene" with a condition that carries no number')
        return self


def _formats(found: Any) -> Any:
    if not isinstance(found, list) or not found or not all(each in SHOW_FORMATS for each in found):
        known = ", ".join(f'"{name}"' for name in SHOW_FORMATS)
        raise ValueError(f"a list of {known}")
    return tuple(found)


def _cue_lists(found: Any) -> Any:
    listed = isinstance(found, list) and found and all(isinstance(one, str) and _CUE.fullmatch(one) for one in found)
    if not listed:
        raise ValueError('a list of cue lists as show control writes them, such as ["2", "2.5"]')
    return tuple(found)


ShowFormats = Annotated[tuple[str, ...], BeforeValidator(_formats)]
CueLists = Annotated[tuple[str, ...], BeforeValidator(_cue_lists)]


class RemoteControl(Part):
    """The inputs from which show control, machine control and our own SysEx are obeyed.

    `programs`: bank and program, or song select, recall scenes as well; `to`: the outputs that answers are sent to;
    `restore`: whether a rig that comes as SysEx is played; `formats`, `lists`: what of show control is obeyed, `lists`
    None for every cue list.
    """

    inputs: Inputs
    device: Annotated[int, between(0, 111)] = 0
    programs: bool = False
    to: Outputs = ()
    restore: bool = False
    formats: Annotated[ShowFormats, Since(2)] = ("lighting", "sound", "all")
    lists: Annotated[CueLists | None, Since(2)] = None


def _address(found: str) -> str:
    try:
        return str(ip_address(found))
    except ValueError:
        raise ValueError('an address such as "127.0.0.1"') from None


def osc_address(found: str) -> tuple[str, int]:
    """Address and port of "192.168.1.20:9000" or "[::1]:9000". Raises ValueError."""
    host, colon, port = found.rpartition(":")
    bare = host[1:-1] if host.startswith("[") and host.endswith("]") else host
    if not colon or not port.isascii() or not port.isdecimal() or not 1 <= int(port[:6]) <= 65535:
        raise ValueError(_TARGET)
    try:
        address = ip_address(bare)
    except ValueError:
        raise ValueError(_TARGET) from None
    if (address.version == 6) != (bare != host):
        raise ValueError(_TARGET)
    return str(address), int(port)


def _targets(found: Any) -> Any:
    if not isinstance(found, list) or len(found) > _MOST_TARGETS or not all(isinstance(one, str) for one in found):
        raise ValueError(f'a list of at most {_MOST_TARGETS} addresses with ports, such as ["192.168.1.20:9000"]')
    for one in found:
        osc_address(one)
    return tuple(dict.fromkeys(found))


OscTargets = Annotated[tuple[str, ...], BeforeValidator(_targets)]


class Osc(Part):
    """Open Sound Control on a UDP port, obeyed from the addresses `allow` only.

    `tell`: the addresses with ports that are sent what changes.
    """

    port: Annotated[int, between(1024, 65535)]
    listen: Annotated[str, AfterValidator(_address)] = "127.0.0.1"
    allow: Names = ("127.0.0.1",)
    tell: Annotated[OscTargets, Since(2)] = ()

    @field_validator("allow")
    @classmethod
    def _addresses(cls, found: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(_address, found))
