"""The tables of the rig file for what gear is sent about the show: `[[tallies]]` for lights, and `[[displays]]`."""

import re
from typing import Annotated, Any, Final, Literal, NamedTuple

from pydantic import AfterValidator, BeforeValidator, model_validator

from engine.midi.kinds import is_whole
from engine.rig.models.references import Reference
from engine.rig.models.values import Part, Text

FIELDS: Final = ("scene.name", "scene.number", "scene.cue", "scene.text", "song.name", "next.name", "tempo")

#: each costs the engine time when anything changes, and twenty times per second if it follows the clock
MOST_TALLIES: Final = 500
MOST_DISPLAYS: Final = 50
_WIDEST: Final = 128
_LONGEST: Final = 512  # bytes around the fields
_TOKEN: Final = re.compile(r"\s*(?:([0-9A-Fa-f]{2})|\{([^{}:]*)(?::([^{}]*))?\})\s*")


class ShownField(NamedTuple):
    """A field of a display: its name, and how wide it is; None for as wide as it comes."""

    name: str
    width: int | None


def read_show(text: str) -> tuple[bytes | ShownField, ...]:
    """The parts of a display's message. Raises ValueError with what is allowed."""
    parts: list[bytes | ShownField] = []
    place = 0
    while place < len(text):
        found = _TOKEN.match(text, place)
        if found is None:
            raise ValueError(_SHAPE)
        place = found.end()
        parts.append(bytes.fromhex(found[1]) if found[1] else _field(found[2], found[3]))
    fixed = b"".join(part if isinstance(part, bytes) else b" " for part in parts)
    if len(fixed) > _LONGEST or fixed[:1] != b"\xf0" or fixed[-1:] != b"\xf7" or not is_whole(fixed):
        raise ValueError(_SHAPE)
    return tuple(parts)


def _field(name: str, width: str | None) -> ShownField:
    if name not in FIELDS:
        raise ValueError(f"a SysEx with fields of {', '.join(FIELDS)}")
    if width is None:
        return ShownField(name, None)
    if not width.isascii() or not width.isdecimal() or not 1 <= int(width[:4]) <= _WIDEST:
        raise ValueError(f'a field with a width of 1 to {_WIDEST}, such as "{{{name}:16}}"')
    return ShownField(name, int(width))


_SHAPE: Final = 'a SysEx in hexadecimal with fields in braces, such as "F0 7D 01 {scene.name:16} F7"'


def _shown(found: str) -> str:
    read_show(found)
    return found


def _one_message(found: Any) -> Any:
    """One message in hexadecimal."""
    try:
        message = bytes.fromhex(found)
    except (TypeError, ValueError):
        message = b""
    if not is_whole(message):
        raise ValueError('one complete message in hexadecimal, such as "B0 14 7F"')
    return message.hex(" ").upper()


OneMessage = Annotated[str, BeforeValidator(_one_message)]


class TallyWhen(Part):
    """When a light is on: exactly one of these is given.

    `route`: while the route or line of this name is in the scene in force, and not muted; `scene`: while it is in
    force; `song`: while this song is; `clock`: while the clock runs that the rig follows or makes. `player`: of the
    first three, for this player alone.
    """

    route: Annotated[Text | None, Reference("routes")] = None
    scene: Annotated[int | str | None, Reference("scenes")] = None
    song: Annotated[Text | None, Reference("songs")] = None
    clock: Literal["running"] | None = None
    player: Annotated[Text | None, Reference("players")] = None

    @model_validator(mode="after")
    def _one_kind(self) -> "TallyWhen":
        if sum(each is not None for each in (self.route, self.scene, self.song, self.clock)) != 1:
            raise ValueError("give exactly one of route, scene, song, clock")
        if self.player is not None and self.clock is not None:
            raise ValueError("leave out player; the clock is everybody's")
        return self


class Tally(Part):
    """A light, or whatever else a message turns on and off."""

    to: Annotated[str, Reference("outputs")]
    when: TallyWhen
    on: OneMessage
    off: OneMessage


class Display(Part):
    """A message with texts in it, which is sent whenever one of them changes."""

    to: Annotated[str, Reference("outputs")]
    show: Annotated[str, AfterValidator(_shown)]
    player: Annotated[Text | None, Reference("players")] = (
        None  # whose scene it shows; else that of the rest of the rig
    )
