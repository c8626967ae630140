"""Proves that two rigs do the same in a scene: to all short messages that can differ, and in what a recall sends.

Paths are compared pair by pair, on the compiled scenes. What both chains of filters begin and end with is alike
whatever it does, so only what is between is asked, with every message that can make a difference to it.
"""

from collections.abc import Iterator, Sequence
from itertools import chain, count, product
from typing import Final, NamedTuple

from engine.core.routing.compiled_scene import CompiledScene, RoutePath, SceneCompiler
from engine.core.routing.filter_chain import FilterLink
from engine.midi.message_words import to_hex
from engine.offline.asked_paths import BY_FIRST_BYTE, SYSTEM, alike_channels, second_bytes, short_messages
from engine.rig.lowering.lowered_scene import LoweredRoute, Lowering
from engine.rig.models.rig import SCENE_NUMBERS, Rig, Scene
from filters.registry import FilterSettings, Later, registry

#: filters to which second data bytes make a difference by the limits that they name, if at all
_LIMITING: Final = BY_FIRST_BYTE | {"zone"}
_ALL: Final = (0, 127)
#: numbers that no scene of a rig has
_ASIDE: Final = count(SCENE_NUMBERS[1] + 1)


class _ProvenPath(NamedTuple):
    """One way from an input to one output: what each link was made of, and the link."""

    made_of: tuple[str, ...]
    settings: tuple[FilterSettings | None, ...]
    links: tuple[FilterLink, ...]
    output: str
    channel: int | None

    def core(self, first: int, last: int) -> "_ProvenPath":
        """Without so many links at both ends."""
        part = slice(first, len(self.links) - last)
        return self._replace(made_of=self.made_of[part], settings=self.settings[part], links=self.links[part])


def aside(scene: Scene) -> Scene:
    """A scene that is tried, under a number of its own: what is known of scenes is remembered by number."""
    return scene.model_copy(update={"number": next(_ASIDE)})


class CompiledSide:
    """One of the two rigs, with its scenes as they are compiled."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.lowering = Lowering(rig)
        self._compiler = SceneCompiler(rig, registry())

    def compiled(self, scene: Scene) -> CompiledScene:
        """The scene made ready to play."""
        return self._compiler.compile(scene)

    def paths(self, scene: Scene) -> list[list[_ProvenPath]]:
        """By input, the scene's own ways, one for each output."""
        known = {(route.kind, route.place): route for route in self.lowering.lowered(scene).routes}
        return [
            [each for path in paths for each in self._ways(source, path, known[path.kind, path.place])]
            for source, paths in zip(self.rig.inputs, self.compiled(scene).own, strict=True)
        ]

    def _ways(self, source: str, path: RoutePath, route: LoweredRoute) -> Iterator[_ProvenPath]:
        outputs = [[*self.rig.outputs][output] for output in path.outputs]
        settings: tuple[FilterSettings | None, ...] = (*self.lowering.departing(source), *route.through)
        if len(path.links) > len(settings):  # what instruments do to what arrives
            settings = (*settings, None)
        for output in outputs:
            made_of = tuple(output if each is None else repr(each) for each in settings)
            yield _ProvenPath(made_of, settings, path.links, output, route.channel)


class SceneProof:
    """Compares scenes of two rigs with the same ports and instruments."""

    def __init__(self, before: CompiledSide, after: CompiledSide, channel: int | None = None) -> None:
        """`channel` (1 to 16): the only one on which inputs send; None if they may send on any."""
        self._before, self._after, self._channel = before, after, channel
        self._known: dict[tuple[tuple[str, ...], tuple[str, ...]], str | None] = {}

    def difference(self, before: Scene, after: Scene) -> str | None:
        """What one scene does and the other does not, in a sentence; None if they do the same."""
        one, other = self._before.compiled(before), self._after.compiled(after)
        for what in ("cuts", "bursts", "entering", "leaving", "tempo"):
            if getattr(one, what) != getattr(other, what):
                return "a recall sends something else"
        for source, came, goes in zip(
            self._before.rig.inputs, self._before.paths(before), self._after.paths(after), strict=True
        ):
            said = self._paired(came, goes)
            if said is not None:
                return f"what {source} plays differs: {said}"
        return None

    def _paired(self, came: Sequence[_ProvenPath], goes: Sequence[_ProvenPath]) -> str | None:
        """Each way has one that does the same; those to one channel come in the same order."""
        if len(came) != len(goes):
            return "it plays by more ways, or by fewer"
        left = [*enumerate(goes)]
        last: dict[tuple[str, int | None], int] = {}
        for path in came:
            found = next((each for each in left if self._alike(path, each[1]) is None), None)
            if found is None:
                same_end = [each for _, each in left if each.output == path.output]
                return self._alike(path, same_end[0]) if same_end else f"nothing goes to {path.output}"
            left.remove(found)
            end = path.output, found[1].channel
            if found[0] < last.get(end, 0):
                return f"what arrives at {path.output} comes in another order"
            last[end] = found[0]
        return None

    def _alike(self, one: _ProvenPath, other: _ProvenPath) -> str | None:
        """None if both ways do the same to every message; else what they do to one of them."""
        if one.output != other.output:
            return f"{one.output} is not {other.output}"
        first = _common(one.made_of, other.made_of)
        most = min(len(one.links), len(other.links)) - first
        last = min(most, _common(one.made_of[::-1], other.made_of[::-1]))
        said = None
        for begin, end in (
            *((first, each) for each in range(last, 0, -1)),
            *((each, 0) for each in range(first, -1, -1)),
        ):
            said = self._compared(one.core(begin, end), other.core(begin, end))
            if said is None:
                break  # what is cut off is alike; where the rest differs, it may be what is cut off that hides it
        return said

    def _compared(self, one: _ProvenPath, other: _ProvenPath) -> str | None:
        key = one.made_of, other.made_of
        if one.made_of == other.made_of:
            return None
        if key not in self._known:
            self._known[key] = _first_difference(one, other, self._channel)
        return self._known[key]


def _common(one: Sequence[str], other: Sequence[str]) -> int:
    """How many elements both begin with."""
    pairs = enumerate(zip(one, other, strict=False))
    return next((place for place, (a, b) in pairs if a != b), min(len(one), len(other)))


def _first_difference(one: _ProvenPath, other: _ProvenPath, channel: int | None) -> str | None:
    if any(link.keeps_state for link in (*one.links, *other.links)):
        return "a filter that remembers what came before stands at another place"
    settings = (*one.settings, *other.settings)
    asked = [each[0] for each in alike_channels(settings)] if channel is None else [channel - 1]
    for message in chain(SYSTEM, short_messages(_data(settings), asked)):
        came, goes = _answer(one.links, message), _answer(other.links, message)
        if came != goes:
            return f"{to_hex(message)} gave {_in_words(came)} and now gives {_in_words(goes)}"
    return None


def _data(settings: Sequence[FilterSettings | None]) -> Sequence[tuple[int, int]]:
    """The pairs of data bytes to ask with: all of them, unless each filter goes by one of the two, or by limits."""
    known = [each for each in settings if each is not None and each.filter in _LIMITING | {"velocity"}]
    limits = [each for each in known if each.filter == "zone"]
    shaped = len(known) < len(settings) or any(getattr(each, "fade", None) for each in limits)
    velocity = any(each.filter == "velocity" for each in known)
    if shaped or (velocity and any(getattr(each, "velocity", _ALL) != _ALL for each in limits)):
        return [*product(range(128), range(128))]
    values = second_bytes(limits)
    some_keys = sorted({*values, *range(0, 128, 6)})
    return [*product(range(128), values), *(product(some_keys, range(128)) if velocity else ())]


def _answer(links: Sequence[FilterLink], message: bytes) -> tuple[bytes, ...]:
    flowing: tuple[bytes, ...] = (message,)
    for link in links:
        given = (made for each in flowing for made in link.step(each, 0))
        flowing = tuple(made for made in given if not isinstance(made, Later))
    return flowing


def _in_words(messages: Sequence[bytes]) -> str:
    return ", ".join(map(to_hex, messages)) or "nothing"
