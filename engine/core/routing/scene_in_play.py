"""A scene that plays: sends messages through its routes, and remembers answers, filters' states and muted routes.

What filters without state do to a short message depends on that message alone. So each input of a scene remembers, for
each message, all of its deliveries; the second time, any number of routes and filters costs one look-up.
"""

from collections import deque
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.output_cable import Unit
from engine.core.routing.compiled_scene import CompiledScene, Paths, RoutePath
from engine.core.routing.filter_chain import FilterFaults, through
from engine.core.routing.held_ledger import Moved, Target, made_of, moves_of, targets_of
from engine.core.routing.merged_messages import SentHigh, ends_notes, merged_of
from engine.core.routing.velocity_prefixes import is_prefix
from engine.midi.kinds import is_press, is_release
from engine.midi.rest_values import rest_of
from filters.registry import NEVER, Later

#: answers that all inputs in all scenes remember together, some 600 bytes each
REMEMBERED: Final = 1 << 16

PLAIN, PRESS, RELEASE = range(3)


class TimedMessage(NamedTuple):
    """A message for these outputs at a later time (ns); `lasting` if its route is in force in every scene."""

    at: int
    message: bytes
    outputs: tuple[int, ...]
    lasting: bool


@dataclass(slots=True)
class RoutedMessage:
    """The answer to one message: what is sent where, and what the ledger and the watch for loops must know of it.

    It is never changed; a frozen class would only take four times as long to make.
    """

    kind: int
    units: tuple[tuple[int, Unit], ...]
    targets: tuple[Target, ...]
    moves: tuple[tuple[Moved, bool], ...]
    selects: bool  # whether there are banks or programs among the units
    said: tuple[bytes, ...]  # the different messages among all units
    others: tuple[tuple[int, Unit], ...]  # for a release: the units without their note-offs
    later: tuple[TimedMessage, ...] = ()  # what is to be sent later
    held: tuple[TimedMessage, ...] = ()  # releases that a filter keeps back
    merges: bool = False  # whether other players on the same channels may change what becomes of it
    highs: tuple[SentHigh, ...] = ()  # the MSBs among the units, if nothing else is merged
    prefix: bool = False  # it belongs to the velocity of the next note
    noted: bool = field(init=False)  # whether there is anything beside notes to remember

    def __post_init__(self) -> None:
        self.noted = bool(self.moves or self.later or self.highs or self.prefix)


def run_chain(path: RoutePath, message: bytes, now: int, faults: FilterFaults) -> tuple[bytes | Later, ...]:
    """What a route's filters make of a message. A filter that fails is bypassed, and counted in `faults`."""
    flowing: tuple[bytes | Later, ...] = (message,)
    for link in path.links:
        flowing = through(link, flowing, now, faults)
        if not flowing:
            break
    return flowing


def answer(
    message: bytes, units: Sequence[tuple[int, Unit]], timed: tuple[TimedMessage, ...] = (), now: int = 0
) -> RoutedMessage:
    """The answer made of these deliveries; what would go twice to one output goes once."""
    later = tuple(each for each in timed if each.at < NEVER)
    once = tuple(dict.fromkeys(units))
    targets: tuple[Target, ...] = ()
    moves: tuple[tuple[Moved, bool], ...] = ()
    for output, unit in once:
        targets += targets_of(output, unit)
        moves += moves_of(output, unit)
    merges, highs = (True, ()) if ends_notes(message) else merged_of(once)
    at_once = (each.message for each in later if each.at <= now)
    said = tuple(dict.fromkeys((*(item for _, unit in once for item in unit), *at_once)))
    selects = any(map(selects_sound, said))
    if message[0] >= 0xF0 or not (is_press(message) or is_release(message)):
        made = tuple(note for output, unit in once for note in made_of(output, unit))
        prefix = message[0] < 0xF0 and is_prefix(message)
        return RoutedMessage(PLAIN, once, (), moves + made, selects, said, (), later, (), merges, highs, prefix)
    if is_press(message):
        return RoutedMessage(PRESS, once, targets, moves, selects, said, (), later, (), merges, highs)
    without = ((output, tuple(item for item in unit if not is_release(item))) for output, unit in once)
    others = tuple((output, unit) for output, unit in without if unit)
    if targets:  # a filter starts notes when a key is released: no key holds them
        moves += tuple(note for output, unit in others for note in made_of(output, unit))
    held = tuple(each for each in timed if each.at >= NEVER)
    return RoutedMessage(RELEASE, once, (), moves, selects, said, others, later, held, merges, highs)


def without(answer: RoutedMessage, shut: Container[int]) -> RoutedMessage:
    """What is left of an answer without these outputs; the ledger will not know of them either."""
    later = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.later)
    held = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.held)
    return replace(
        answer,
        units=tuple(each for each in answer.units if each[0] not in shut),
        targets=tuple(target for target in answer.targets if target.output not in shut),
        moves=tuple(each for each in answer.moves if each[0].output not in shut),
        others=tuple(each for each in answer.others if each[0] not in shut),
        later=tuple(each for each in later if each.outputs),
        held=tuple(each for each in held if each.outputs),
        highs=tuple(each for each in answer.highs if each.place[0] not in shut),
    )


class AnswerMemory:
    """The answers that the inputs of all scenes remember; the newest replaces the oldest."""

    def __init__(self, most: int = REMEMBERED) -> None:
        self._most = most
        self._places: deque[tuple[dict[bytes, RoutedMessage], bytes]] = deque()  # oldest first

    def keep(self, known: dict[bytes, RoutedMessage], message: bytes, worked_out: RoutedMessage) -> None:
        """Remember one more answer, to a message that is not in `known` yet."""
        known[message] = worked_out
        self._places.append((known, message))
        if len(self._places) > self._most:
            oldest, its_message = self._places.popleft()
            del oldest[its_message]


class SharedRoutes:
    """What all scenes of one compiled rig share: their memory, and the filters of routes in force in every scene."""

    def __init__(self, everywhere: Paths) -> None:
        self.memory = AnswerMemory()
        self.called = _fresh(everywhere)

    def renew(self, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> None:
        """Reset the filters with state of these routes (input, route). `keep_time`: see `RoutePath.renewed`."""
        self.called = _renewed(self.called, which, keep_time)

    def take_over(self, before: "SharedRoutes") -> None:
        """Go on with what the same routes remember that were in force before an edit."""
        self.memory, self.called = before.memory, before.called + ((),) * (len(self.called) - len(before.called))

    def grow(self, inputs: int) -> None:
        """An edited rig has this many inputs: the new ones lead nowhere here."""
        self.called += ((),) * (inputs - len(self.called))


class SceneInPlay:
    """One scene. `paths[i]` are the routes of input i, those of every scene before its own."""

    def __init__(self, compiled: CompiledScene, faults: FilterFaults, shared: SharedRoutes | None = None) -> None:
        """`shared`: with the other scenes of the rig; with none, if it is not given."""
        self.compiled = compiled
        self.number, self.name, self.bursts = compiled.number, compiled.name, compiled.bursts
        self.paths = tuple(both + own for both, own in zip(compiled.everywhere, compiled.own, strict=True))
        self.shared = shared or SharedRoutes(compiled.everywhere)
        self._faults = faults
        self._all_lasting = tuple(tuple(path for path in listed if not path.keeps_state) for listed in self.paths)
        self._own_called = _fresh(compiled.own)
        self._renews = any(self._own_called)
        self._muted: frozenset[str] = frozenset()
        self._refresh()

    def _refresh(self) -> None:
        """Work out again which routes carry messages, and forget all answers."""
        self._lasting = self._unmuted(self._all_lasting)
        self._known: tuple[dict[bytes, RoutedMessage], ...] = tuple({} for _ in self.paths)
        self._call_unmuted()

    def _call_unmuted(self) -> None:
        self._shared_called = self.shared.called
        self.called = self._unmuted(self._all_called())

    def _all_called(self) -> Paths:
        return tuple(shared + own for shared, own in zip(self.shared.called, self._own_called, strict=True))

    def enter(self, muted: frozenset[str]) -> None:
        """The scene comes into force: its own filters with state are reset, as the gear was set to rest meanwhile."""
        if self._renews:
            self._own_called = _renewed(self._own_called, lambda source, path: True)
        if muted != self._muted:
            self.mute(muted)
        elif self._renews or self.shared.called is not self._shared_called:
            self._call_unmuted()

    def renew(self, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> None:
        """Reset its own filters with state; `SharedRoutes.renew` has reset those of routes of every scene."""
        self._own_called = _renewed(self._own_called, which, keep_time)
        self._call_unmuted()

    def stay(self, inputs: int, faults: FilterFaults) -> None:
        """This scene plays on in an edited rig with this many inputs: the new ones lead nowhere."""
        more = ((),) * (inputs - len(self.paths))
        self.shared.grow(inputs)
        self.paths += more
        self._all_lasting += more
        self._own_called += more
        self._lasting += more
        self.called += more
        self._known += tuple({} for _ in more)
        self._faults = faults

    def mute(self, routes: frozenset[str]) -> None:
        """Only routes of these names are muted from now on."""
        if routes != self._muted:
            self._muted = routes
            self._refresh()

    def keeping_state(self, route: str) -> set[tuple[int, bool]]:
        """Where this route has filters with state: each input, and whether the route is in force in every scene."""
        return {
            (source, path.lasting)
            for source, listed in enumerate(self._all_called())
            for path in listed
            if path.route == route
        }

    def _unmuted(self, paths: Paths) -> Paths:
        return tuple(tuple(path for path in listed if path.route not in self._muted) for listed in paths)

    def answer(self, source: int, message: bytes, now: int) -> RoutedMessage:
        """The answer to one message of input `source`."""
        known = self._known[source].get(message) or self._work_out(source, message, now)
        called = self.called[source]
        if not called:
            return known
        units, timed = self._run(called, message, now)
        return answer(message, known.units + units, timed, now)

    def reach(self, source: int) -> set[int]:
        """All outputs that routes of this input lead to, whatever their filters let through."""
        return {output for path in self.paths[source] for output in path.outputs}

    def leads(self, source: int, message: bytes) -> set[tuple[int, int]]:
        """Which channels of outputs, as (output, channel), an input's message reaches; filters with state are fresh."""
        fresh = tuple(path.renewed() for path in self.called[source])
        units, _ = self._run(self._lasting[source] + fresh, message, 0)
        return {(output, each[0] & 0x0F) for output, unit in units for each in unit}

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this controller, bend or pressure in this scene."""
        if moved in self._moved_by(self._lasting[source], message):
            return True
        # A filter with state may not be asked twice, so a fresh one is asked in its place. It does not know of the
        # move, so what counts is whether the resting value would undo it; for routes of every scene, the message, too.
        for path in self.called[source]:
            asked = [rest] if (rest := rest_of(message)) else []
            if path.lasting:
                asked.append(message)
            if any(moved in self._moved_by((path.renewed(),), each) for each in asked):
                return True
        return False

    def _moved_by(self, paths: tuple[RoutePath, ...], message: bytes) -> set[Moved]:
        """What this message moves on its way along these paths."""
        units, later = self._run(paths, message, 0)
        units += tuple((output, (timed.message,)) for timed in later for output in timed.outputs)
        return {one for output, unit in units for one, _ in moves_of(output, unit) + made_of(output, unit)}

    def _work_out(self, source: int, message: bytes, now: int) -> RoutedMessage:
        worked_out = answer(message, self._run(self._lasting[source], message, now)[0])
        if len(message) <= 3:
            self.shared.memory.keep(self._known[source], message, worked_out)
        return worked_out

    def _run(
        self, paths: tuple[RoutePath, ...], message: bytes, now: int
    ) -> tuple[tuple[tuple[int, Unit], ...], tuple[TimedMessage, ...]]:
        """What is sent now, and what is sent later or kept back."""
        units: list[tuple[int, Unit]] = []
        later: list[TimedMessage] = []
        for path in paths:
            given = run_chain(path, message, now, self._faults)
            unit = tuple(item for item in given if isinstance(item, bytes))
            if unit:
                units.extend((output, unit) for output in path.outputs)
            later += [TimedMessage(*item, path.outputs, path.lasting) for item in given if isinstance(item, Later)]
        return tuple(units), tuple(later)


def _fresh(paths: Paths) -> Paths:
    """Those with state, made again: what was compiled may be in play already, in the rig before an edit."""
    keeping_state = tuple(tuple(path for path in listed if path.keeps_state) for listed in paths)
    return _renewed(keeping_state, lambda source, path: True)


def _renewed(paths: Paths, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> Paths:
    return tuple(
        tuple(path.renewed(keep_time) if which(source, path) else path for path in listed)
        for source, listed in enumerate(paths)
    )
