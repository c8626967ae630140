"""What a rig says gear is to be sent: its lights and displays, made ready to be looked at."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from engine.core.cable.replaceable_values import slot
from engine.midi.kinds import NOTE_OFF, NOTE_ON
from engine.rig.models.feedback import ShownField, TallyWhen, read_show
from engine.rig.models.rig import Rig

#: what tells one thing on an output from another: whatever sets the same thing has the same
Thing = tuple[int, object]

_NOTE: Final = "note"


class Light(NamedTuple):
    """One tally: the messages that turn it on and off, and when it is on."""

    on: bytes
    off: bytes
    when: TallyWhen


class Lamp(NamedTuple):
    """One light of the gear, on while any of its tallies is: the first of these in the rig file says how."""

    thing: Thing
    lights: tuple[Light, ...]

    @property
    def output(self) -> int:
        """The output that it is on."""
        return self.thing[0]

    @property
    def is_note(self) -> bool:
        """Whether it is a note, which a panic turns off."""
        return isinstance(self.thing[1], tuple) and self.thing[1][:1] == (_NOTE,)


class TextDisplay(NamedTuple):
    """One display: the parts of its message, and whose scene it shows, None for the rest of the rig."""

    thing: Thing
    parts: tuple[bytes | ShownField, ...]
    player: str | None = None

    @property
    def output(self) -> int:
        """The output that it is on."""
        return self.thing[0]


@dataclass(frozen=True)
class FeedbackPlan:
    """All of a rig's.

    `moving_lamps`, `moving_displays`: those of them that change without a command, by the clock or by a tempo that is
    followed; `things`: all that they set.
    """

    lamps: tuple[Lamp, ...] = ()
    displays: tuple[TextDisplay, ...] = ()
    moving_lamps: tuple[Lamp, ...] = ()
    moving_displays: tuple[TextDisplay, ...] = ()
    things: frozenset[Thing] = frozenset()

    @property
    def moves(self) -> bool:
        """Whether any of it changes without a command."""
        return bool(self.moving_lamps or self.moving_displays)


def feedback_plan(rig: Rig, outputs: Sequence[str]) -> FeedbackPlan:
    """Outputs are given by index."""
    lights: dict[Thing, list[Light]] = {}
    for tally in rig.tallies:
        light = Light(bytes.fromhex(tally.on), bytes.fromhex(tally.off), tally.when)
        lights.setdefault((outputs.index(tally.to), _sets(light)), []).append(light)
    lamps = tuple(Lamp(thing, tuple(own)) for thing, own in lights.items())
    listed = [
        TextDisplay((outputs.index(each.to), each.show), read_show(each.show), each.player) for each in rig.displays
    ]
    displays = tuple({each.thing: each for each in listed}.values())
    return FeedbackPlan(
        lamps,
        displays,
        tuple(lamp for lamp in lamps if any(light.when.clock is not None for light in lamp.lights)),
        tuple(display for display in displays if _shows_tempo(display.parts)),
        frozenset(lamp.thing for lamp in lamps) | {display.thing for display in displays},
    )


def _shows_tempo(parts: Iterable[bytes | ShownField]) -> bool:
    return any(isinstance(part, ShownField) and part.name == "tempo" for part in parts)


def _sets(light: Light) -> object:
    """What a light's messages set: the same controller, the same key, or these two messages."""
    on, off = _thing(light.on), _thing(light.off)
    return on if on is not None and on == off else (light.on, light.off)


def _thing(message: bytes) -> tuple[object, ...] | None:
    if message[0] & 0xF0 in (NOTE_ON, NOTE_OFF):
        return _NOTE, message[0] & 0x0F, message[1]
    return slot(message)
