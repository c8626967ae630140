"""A scene, compiled: which routes an input's messages take, and what was answered before.

What stateless filters do to a short message is a pure function of that message. So each input of a plan remembers,
for each message, all of its deliveries; the second time any number of routes and filters costs one look-up.
"""

from collections import deque
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Final, NamedTuple

from engine.core.cable.output_cable import BurstUnit, Unit
from engine.core.cable.program_burst import compile_burst
from engine.core.routing.ledger import Moved, Target, made_of, moves_of, rest_of, selects_of, targets_of
from engine.midi.kinds import is_press, is_release, is_whole
from engine.rig.models.rig import Rig, Route, Scene
from filters.registry import Filter, FilterSettings, Later
from filters.registry import Step as FilterStep

#: answers that all inputs in all scenes remember together, some 600 bytes each
REMEMBERED: Final = 1 << 16

PLAIN, PRESS, RELEASE = range(3)


class FilterLink(NamedTuple):
    """One filter of a chain."""

    name: str
    step: FilterStep
    keeps_state: bool


class RoutePath(NamedTuple):
    """One route as one input takes it: through these filters to these outputs."""

    route: str
    links: tuple[FilterLink, ...]
    outputs: tuple[int, ...]
    anew: Callable[[], tuple[FilterLink, ...]] = tuple  # makes the links again, in their first state
    lasting: bool = False  # in force in every scene: it keeps what it remembers
    place: int = 0  # among the scene's routes, or among the lasting ones

    @property
    def keeps_state(self) -> bool:
        """Whether the same message may be answered differently the second time."""
        return any(link.keeps_state for link in self.links)


class TimedMessage(NamedTuple):
    """A message for these outputs at a later time (ns); `lasting` if its route is in force in every scene."""

    at: int
    message: bytes
    outputs: tuple[int, ...]
    lasting: bool


@dataclass(slots=True)
class RoutedMessage:
    """All that becomes of one message: what is sent where, and what the ledger and the loops' watch must know of it.

    It is never changed; a frozen class would only take four times as long to make.
    """

    kind: int
    units: tuple[tuple[int, Unit], ...]
    targets: tuple[Target, ...]
    moves: tuple[tuple[Moved, bool], ...]
    selects: tuple[tuple[int, Unit], ...]  # bank and program messages by output
    said: tuple[bytes, ...]  # the different messages among all units
    others: tuple[tuple[int, Unit], ...]  # for a release: the units without their note-offs
    later: tuple[TimedMessage, ...] = ()  # what is to be sent at other times
    noted: bool = field(init=False)  # whether anything beside notes is to be written down

    def __post_init__(self) -> None:
        self.noted = bool(self.moves or self.selects or self.later)


class FilterFaults:
    """Filters that raised or answered nonsense: counted by filter, the first one of each kept in words."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.first: dict[str, str] = {}
        self.raised: dict[str, Exception] = {}  # the first, with its traceback, until somebody takes it

    def add(self, name: str, what: str, raised: Exception | None = None) -> None:
        self.counts[name] = self.counts.get(name, 0) + 1
        if name not in self.first:
            self.first[name] = what
            if raised is not None:
                self.raised[name] = raised


def run_chain(path: RoutePath, message: bytes, now: int, faults: FilterFaults) -> tuple[bytes | Later, ...]:
    """What a path's filters make of a message. A filter that fails is stepped over, and written down."""
    flowing: tuple[bytes | Later, ...] = (message,)
    for link in path.links:
        flowing = through(link, flowing, now, faults)
        if not flowing:
            break
    return flowing


def through(
    link: FilterLink, flowing: Iterable[bytes | Later], now: int, faults: FilterFaults
) -> tuple[bytes | Later, ...]:
    """What one filter makes of what reaches it; what is for later it is asked with that time."""
    answered: list[bytes | Later] = []
    for item in flowing:
        if isinstance(item, Later):
            given = _answers(link, item.message, item.at, faults)
            answered.extend(one if isinstance(one, Later) else Later(item.at, one) for one in given)
        else:
            answered.extend(_answers(link, item, now, faults))
    return tuple(answered)


def _answers(link: FilterLink, message: bytes, now: int, faults: FilterFaults) -> tuple[bytes | Later, ...]:
    try:
        given = tuple(link.step(message, now))
        wrong = [one for one in given if not _is_answer(one, link)]
    except Exception as fault:  # a plug-in may raise anything; the show goes on without it
        trace = fault.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        place = f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "?"
        faults.add(link.name, f"{type(fault).__name__}: {fault} ({place})", fault)
        return (message,)
    if wrong:
        faults.add(link.name, f"it answered {wrong[0]!r}, which is no MIDI message")
        return (message,)
    return given


def _is_answer(one: object, link: FilterLink) -> bool:
    if isinstance(one, Later):  # a filter without state is not asked again, and its times would be remembered
        return link.keeps_state and isinstance(one.at, int) and isinstance(one.message, bytes) and is_whole(one.message)
    return isinstance(one, bytes) and is_whole(one)


def answer(message: bytes, units: Sequence[tuple[int, Unit]], later: tuple[TimedMessage, ...] = ()) -> RoutedMessage:
    """Sort out what the ledger must know of these deliveries; the same one twice to an output goes once."""
    once = tuple(dict.fromkeys(units))
    targets: tuple[Target, ...] = ()
    moves: tuple[tuple[Moved, bool], ...] = ()
    for output, unit in once:
        targets += targets_of(output, unit)
        moves += moves_of(output, unit)
    selects = tuple((output, found) for output, unit in once if (found := selects_of(unit)))
    said = tuple(dict.fromkeys(item for _, unit in once for item in unit))
    if message[0] >= 0xF0 or not (is_press(message) or is_release(message)):
        made = tuple(note for output, unit in once for note in made_of(output, unit))
        return RoutedMessage(PLAIN, once, (), moves + made, selects, said, (), later)
    if is_press(message):
        return RoutedMessage(PRESS, once, targets, moves, selects, said, (), later)
    without = ((output, tuple(item for item in unit if not is_release(item))) for output, unit in once)
    others = tuple((output, unit) for output, unit in without if unit)
    if targets:  # a filter starts notes where a key is let go: no key holds them
        moves += tuple(note for output, unit in others for note in made_of(output, unit))
    return RoutedMessage(RELEASE, once, (), moves, selects, said, others, later)


def without(answer: RoutedMessage, shut: Container[int]) -> RoutedMessage:
    """What is left of an answer without these outputs; for the ledger, too, they were never told."""
    timed = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.later)
    return replace(
        answer,
        units=tuple(each for each in answer.units if each[0] not in shut),
        targets=tuple(target for target in answer.targets if target.output not in shut),
        moves=tuple(each for each in answer.moves if each[0].output not in shut),
        selects=tuple(each for each in answer.selects if each[0] not in shut),
        others=tuple(each for each in answer.others if each[0] not in shut),
        later=tuple(each for each in timed if each.outputs),
    )


class AnswerMemory:
    """What the inputs of all scenes remember; the oldest answer makes room for the newest."""

    def __init__(self, most: int = REMEMBERED) -> None:
        self._most = most
        self._places: deque[tuple[dict[bytes, RoutedMessage], bytes]] = deque()  # oldest first

    def keep(self, known: dict[bytes, RoutedMessage], message: bytes, worked_out: RoutedMessage) -> None:
        """One more answer, to a message that `known` does not hold yet."""
        known[message] = worked_out
        self._places.append((known, message))
        if len(self._places) > self._most:
            oldest, its_message = self._places.popleft()
            del oldest[its_message]


class CompiledScene:
    """One compiled scene. `paths[i]` are the paths of input i, in the rig's order."""

    def __init__(
        self,
        scene: Scene,
        paths: tuple[tuple[RoutePath, ...], ...],
        bursts: Mapping[int, tuple[BurstUnit, ...]],
        faults: FilterFaults,
        memory: AnswerMemory,
    ) -> None:
        self.number = scene.number
        self.name = scene.name
        self.cuts = scene.held == "cut"
        self.paths = paths
        self.bursts = bursts
        self._faults = faults
        self._lasting = tuple(tuple(path for path in listed if not path.keeps_state) for listed in paths)
        self.called = tuple(tuple(path for path in listed if path.keeps_state) for listed in paths)
        self._all_lasting, self._all_called = self._lasting, self.called
        self._renews = any(not path.lasting for listed in self.called for path in listed)
        self._muted: frozenset[str] = frozenset()
        self._memory = memory
        self._known: tuple[dict[bytes, RoutedMessage], ...] = tuple({} for _ in paths)

    def enter(self) -> None:
        """The scene comes into force: its own filters with state begin anew, as the gear was set to rest meanwhile."""
        if not self._renews:
            return
        self._all_called = tuple(
            tuple(path if path.lasting else path._replace(links=path.anew()) for path in listed)
            for listed in self._all_called
        )
        self.called = self._unmuted(self._all_called)

    def begin_anew(self, which: Callable[[int, RoutePath], bool], lasting: dict[RoutePath, RoutePath]) -> None:
        """Filters with state of these paths (input, path) are as at first, for what they held was let go.

        `lasting`: what other scenes have of paths that are in force in every scene.
        """

        def anew(source: int, path: RoutePath) -> RoutePath:
            if not which(source, path):
                return path
            made = path._replace(links=path.anew())
            return lasting.setdefault(path, made) if path.lasting else made

        self._all_called = tuple(
            tuple(anew(source, path) for path in listed) for source, listed in enumerate(self._all_called)
        )
        self.called = self._unmuted(self._all_called)

    def shares_lasting_routes(self, other: "CompiledScene") -> bool:
        """Whether routes in force in every scene remember in both plans what they were told in one."""
        return self._memory is other._memory  # one compiler made both

    def join(self, inputs: int, faults: FilterFaults) -> None:
        """This scene plays on in an edited rig of so many inputs: the new ones lead nowhere."""
        more = ((),) * (inputs - len(self.paths))
        self.paths += more
        self._all_lasting += more
        self._all_called += more
        self._lasting += more
        self.called += more
        self._known += tuple({} for _ in more)
        self._faults = faults

    def mute(self, routes: frozenset[str]) -> None:
        """Routes of these names carry nothing, the others what they did."""
        if routes != self._muted:
            self._muted = routes
            self._lasting = self._unmuted(self._all_lasting)
            self.called = self._unmuted(self._all_called)
            self._known = tuple({} for _ in self.paths)

    def keeping_state(self, route: str) -> set[tuple[int, bool]]:
        """Where this route has filters with state: each input, and whether the route is in force in every scene."""
        return {
            (source, path.lasting)
            for source, listed in enumerate(self._all_called)
            for path in listed
            if path.route == route
        }

    def _unmuted(self, paths: tuple[tuple[RoutePath, ...], ...]) -> tuple[tuple[RoutePath, ...], ...]:
        return tuple(tuple(path for path in listed if path.route not in self._muted) for listed in paths)

    def answer(self, source: int, message: bytes, now: int) -> RoutedMessage:
        """All deliveries of one message of input `source`."""
        known = self._known[source].get(message) or self._work_out(source, message, now)
        called = self.called[source]
        if not called:
            return known
        units, later = self._run(called, message, now)
        return answer(message, known.units + units, later)

    def reach(self, source: int) -> set[int]:
        """All outputs that routes of this input lead to, whatever their filters let through."""
        return {output for path in self.paths[source] for output in path.outputs}

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this thing in this scene."""
        if moved in self._moved_by(self._lasting[source], message):
            return True
        # A filter with state may not be asked twice, so one in its first state is asked in its place. It knows nothing
        # of the move, so what counts is whether letting go would undo it; only what lasts may have to be let go twice.
        for path in self.called[source]:
            asked = [rest] if (rest := rest_of(message)) else []
            if path.lasting:
                asked.append(message)
            if any(moved in self._moved_by((path._replace(links=path.anew()),), each) for each in asked):
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
            self._memory.keep(self._known[source], message, worked_out)
        return worked_out

    def _run(
        self, paths: tuple[RoutePath, ...], message: bytes, now: int
    ) -> tuple[tuple[tuple[int, Unit], ...], tuple[TimedMessage, ...]]:
        """What goes out now, and what goes out later."""
        units: list[tuple[int, Unit]] = []
        later: list[TimedMessage] = []
        for path in paths:
            given = run_chain(path, message, now, self._faults)
            unit = tuple(item for item in given if isinstance(item, bytes))
            if unit:
                units.extend((output, unit) for output in path.outputs)
            later += [TimedMessage(*item, path.outputs, path.lasting) for item in given if isinstance(item, Later)]
        return tuple(units), tuple(later)


class SceneCompiler:
    """Turns a rig's scenes into plans. Routes in force in every scene are compiled once and keep their state."""

    def __init__(
        self,
        rig: Rig,
        filters: Mapping[str, Filter],
        faults: FilterFaults,
        inputs: Sequence[str] | None = None,
        outputs: Sequence[str] | None = None,
    ) -> None:
        """`inputs`, `outputs`: names of ports in the order of their indices, the rig's own if they are not given."""
        self._rig = rig
        self._filters = filters
        self._faults = faults
        self._memory = AnswerMemory()
        self._inputs = {name: index for index, name in enumerate(inputs or rig.inputs)}
        self._outputs = {name: index for index, name in enumerate(outputs or rig.outputs)}
        self._without_state: dict[str, FilterLink] = {}  # settings -> one that all routes share
        self._everywhere = self._paths(rig.routes, "route", lasting=True)

    def plan(self, scene: Scene) -> CompiledScene:
        """The plan of one scene."""
        own = self._paths(scene.routes, "scene route", lasting=False)
        both = tuple(first + second for first, second in zip(self._everywhere, own, strict=True))
        return CompiledScene(scene, both, compile_burst(self._rig, scene, self._outputs), self._faults, self._memory)

    def _paths(self, routes: Sequence[Route], what: str, lasting: bool) -> tuple[tuple[RoutePath, ...], ...]:
        listed: list[list[RoutePath]] = [[] for _ in self._inputs]
        for number, route in enumerate(routes, 1):
            outputs = tuple(dict.fromkeys(self._outputs[name] for name in route.to))
            for name in dict.fromkeys(route.source):
                make = partial(self._links, route.through)
                label = route.name or f"{what} {number}"
                listed[self._inputs[name]].append(RoutePath(label, make(), outputs, make, lasting, number - 1))
        return tuple(tuple(paths) for paths in listed)

    def _links(self, through: Sequence[FilterSettings]) -> tuple[FilterLink, ...]:
        return tuple(self._link(settings) for settings in through)

    def _link(self, settings: FilterSettings) -> FilterLink:
        written = repr(vars(settings))
        link = self._without_state.get(written)
        if link is None:
            entry = self._filters[settings.filter]
            link = FilterLink(entry.name, entry.build(settings), entry.keeps_state(settings))
            if not link.keeps_state:
                self._without_state[written] = link
        return link
