"""Scenes so plain that what a player's hand reaches can be said without the engine: one route from a hand to a place.

A hand is an input and a channel of it. In each scene a place (output and channel) is reached by one hand at most, so
that what its player means there is never in doubt; the next scene may give it to another.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from tests.support.audible_receiver import Part, Place

#: input, channel 0 to 15
Hand = tuple[int, int]

INPUTS: Final = ("keys", "pads")
OUTPUTS: Final = ("strings", "brass")
#: kinds that a connection may stop, and what they are of
_KINDS: Final = {"pitch_bend": 0xE0, "aftertouch": 0xD0, "poly_aftertouch": 0xA0}


class Connection(NamedTuple):
    """A route from one hand to one place. `stopped`: words of the filter `strip`; `renumbered`: controller, and as
    which it goes on; the number that it takes must be stopped."""

    name: str
    hand: Hand
    place: Place
    semitones: int = 0
    keys: tuple[int, int] = (0, 127)
    stopped: tuple[str, ...] = ()
    renumbered: tuple[tuple[int, int], ...] = ()

    @property
    def text(self) -> str:
        """As it stands in a rig."""
        (source, channel), (output, to) = self.hand, self.place
        chain = [f'{{ filter = "channels", keep = [{channel + 1}], map = {{ {channel + 1} = {to + 1} }} }}']
        if self.stopped:
            kinds = ", ".join(f'"{kind}"' for kind in self.stopped)
            chain.append(f'{{ filter = "strip", kinds = [{kinds}] }}')
        if self.renumbered:
            numbers = ", ".join(f"{number} = {other}" for number, other in self.renumbered)
            chain.append(f'{{ filter = "controllers", map = {{ {numbers} }} }}')
        if self.keys != (0, 127):
            chain.append(f'{{ filter = "zone", notes = [{self.keys[0]}, {self.keys[1]}] }}')
        if self.semitones:
            chain.append(f'{{ filter = "transpose", semitones = {self.semitones} }}')
        ends = f'name = "{self.name}", from = "{INPUTS[source]}", to = "{OUTPUTS[output]}"'
        return f"{{ {ends}, through = [ {', '.join(chain)} ] }}"

    def key(self, key: int) -> int | None:
        """The key that a key of the hand presses here."""
        return key + self.semitones if self.keys[0] <= key <= self.keys[1] else None

    def arriving(self, part: Part) -> Part | None:
        """What something that the hand moves is here; None if it does not arrive."""
        kind, number = part
        if kind == 0xB0:
            stopped = f"controller {number}" in self.stopped
            return None if stopped else (kind, dict(self.renumbered).get(number, number))
        if any(kind == _KINDS[word] for word in self.stopped if word in _KINDS):
            return None
        if kind == 0xA0:
            key = self.key(number)
            return None if key is None else (kind, key)
        return part

    def source(self, part: Part) -> Part | None:
        """What the hand moves to move this here; None if it cannot."""
        kind, number = part
        if kind == 0xA0:
            asked = (kind, number - self.semitones)
        else:
            back = {other: number for number, other in self.renumbered}
            asked = (kind, back.get(number, number)) if kind == 0xB0 else part
        return asked if self.arriving(asked) == part else None


class PlainShow(NamedTuple):
    """`everywhere`: connections of every scene; `scenes`: those of each, numbered from 1; `cuts`: scenes that cut.

    `wire`: of both outputs.
    """

    everywhere: tuple[Connection, ...]
    scenes: tuple[tuple[Connection, ...], ...]
    cuts: frozenset[int] = frozenset()
    wire: str = "fast"

    @property
    def text(self) -> str:
        """The rig file."""
        lines = ["format = 1", f"routes = [ {', '.join(each.text for each in self.everywhere)} ]"]
        lines += ["[inputs]", *(f'{name} = {{ port = "{name}" }}' for name in INPUTS)]
        lines += ["[outputs]", *(f'{name} = {{ port = "{name}", wire = "{self.wire}" }}' for name in OUTPUTS)]
        for number, connections in enumerate(self.scenes, 1):
            lines += ["[[scenes]]", f"number = {number}", f'name = "S{number}"']
            lines += [f"routes = [ {', '.join(each.text for each in connections)} ]"]
            lines += ['held = "cut"'] if number in self.cuts else []
        return "\n".join(lines) + "\n"

    def view(self, scene: int, muted: Iterable[str]) -> dict[Place, Connection]:
        """Who reaches each place in a scene while routes of these names are muted."""
        shut = frozenset(muted)
        return {each.place: each for each in (*self.everywhere, *self.scenes[scene - 1]) if each.name not in shut}
