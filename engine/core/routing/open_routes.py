"""Routes that carry messages: sends each through its filters, and remembers the answers.

What filters without state do to a short message depends on that message alone. So each input of a scene remembers, for
each message, all of its deliveries; the second time, any number of routes and filters costs one look-up.
"""

from collections import deque
from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import Final

from engine.core.cable.output_cable import Unit
from engine.core.routing.channel_places import AT_HOME, Places, placed
from engine.core.routing.compiled_scene import Paths, RoutePath
from engine.core.routing.filter_chain import ChainMemory, FilterFaults, run_chain
from engine.core.routing.routed_message import RoutedMessage, TimedMessage, answer
from engine.core.routing.sent_values import Channel, Hand, Moved, made_of, moves_of
from engine.midi.controllers import SHAPING
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, is_press, is_release
from engine.midi.rest_values import rest_of
from filters.registry import Later

#: answers that all inputs in all scenes remember together, some 600 bytes each
REMEMBERED: Final = 1 << 16
#: what routes with state have given to one message, by their `id`: each is asked once a message, though older routes
#: share it with those in force
Given = dict[int, tuple[bytes | Later, ...]]
#: one message of everything that shapes the notes of a channel, each on channel 1
_SHAPES: Final = (
    *(bytes((CONTROLLER, number, 64)) for number in sorted(SHAPING)),
    bytes((AFTERTOUCH, 64)),
    bytes((PITCH_BEND, 0, 0x50)),
)


class AnswerMemory:
    """The answers that the inputs of all scenes remember; the newest replaces the oldest.

    `chains`: what their filters have made of the places of pedals, wheels and faders.
    """

    def __init__(self, most: int = REMEMBERED) -> None:
        self.chains = ChainMemory()
        self._most = most
        self._places: deque[tuple[dict[bytes, RoutedMessage], bytes]] = deque()  # oldest first

    def keep(self, known: dict[bytes, RoutedMessage], message: bytes, worked_out: RoutedMessage) -> None:
        """Remember one more answer, to a message that is not in `known` yet."""
        known[message] = worked_out
        self._places.append((known, message))
        if len(self._places) > self._most:
            oldest, its_message = self._places.popleft()
            del oldest[its_message]


class OpenRoutes:
    """The routes of all inputs, by input, that carry messages: a mute makes others of them.

    `lasting`: those whose answers are remembered; `called`: those that have state, and are asked each time; `places`:
    where instruments are that are not on their own channels; `known`: by input, the answers of the lasting routes to
    messages that came before.
    """

    def __init__(
        self, lasting: Paths, called: Paths, memory: AnswerMemory, faults: FilterFaults, places: Places = AT_HOME
    ) -> None:
        self.lasting, self.called = lasting, called
        self.faults, self.places = faults, places
        self._memory = memory
        self.known: tuple[dict[bytes, RoutedMessage], ...] = tuple({} for _ in lasting)
        self._shaped: dict[Hand, frozenset[Moved]] = {}
        self._leading: frozenset[int] | None = None  # the inputs that lead anywhere, once that was asked for

    def with_called(self, called: Paths) -> "OpenRoutes":
        """The same, but for those with state; these go on remembering the same answers."""
        made = OpenRoutes((), called, self._memory, self.faults, self.places)
        made.lasting, made.known = self.lasting, self.known
        return made

    def grow(self, inputs: int) -> None:
        """An edited rig has this many inputs: the new ones lead nowhere here."""
        more = ((),) * (inputs - len(self.lasting))
        self.lasting += more
        self.called += more
        self.known += tuple({} for _ in more)

    def differing(self, other: "OpenRoutes", sources: Collection[int]) -> set[int]:
        """Those of these inputs whose messages go other ways there, now or later."""
        known = min(len(self.lasting), len(other.lasting))
        leading = self.leading() | other.leading()  # most inputs of a large rig lead nowhere
        asked = [source for source in sources if source in leading or source >= known]
        return {source for source in asked if source >= known or not self._alike(other, source)}

    def leading(self) -> frozenset[int]:
        """The inputs that lead anywhere."""
        if self._leading is None:
            both = enumerate(zip(self.lasting, self.called, strict=True))
            self._leading = frozenset(source for source, (lasting, called) in both if lasting or called)
        return self._leading

    def _alike(self, other: "OpenRoutes", source: int) -> bool:
        """Whether this input's messages go the same ways there."""
        lasting, others = self.lasting[source], other.lasting[source]
        if lasting is not others:
            if len(lasting) != len(others):
                return False
            for path, other_path in zip(lasting, others, strict=True):  # a recall asks it of all inputs
                if path is not other_path and (path.outputs != other_path.outputs or path.links != other_path.links):
                    return False
        called, others = self.called[source], other.called[source]
        if self.places != other.places and self._differs(
            other, {output for each in lasting + called for output in each.outputs}
        ):
            return False
        return len(called) == len(others) and all(one is two for one, two in zip(called, others, strict=True))

    def _differs(self, other: "OpenRoutes", outputs: set[int]) -> bool:
        """Whether instruments at these outputs are elsewhere there."""
        return any(
            self.places.get(home) != other.places.get(home)
            for home in {*self.places, *other.places}
            if home[0] in outputs
        )

    def answer(self, source: int, message: bytes, now: int, given: Given | None = None) -> RoutedMessage:
        """The answer to one message of input `source`. `given`: what others were given for the same message."""
        known = self.known[source].get(message) or self._work_out(source, message, now)
        called = self.called[source]
        if not called:
            return known
        units, timed = self._run(called, message, now, given)
        return answer(source, message, known.units + units, timed, now)

    def leads(self, source: int, message: bytes) -> set[Channel]:
        """Which channels of outputs an input's message reaches; filters with state are fresh."""
        fresh = tuple(path.renewed() for path in self.called[source])
        units, _ = self._run(self.lasting[source] + fresh, message, 0)
        return {(output, each[0] & 0x0F) for output, unit in units for each in unit}

    def moves(self, source: int, message: bytes) -> dict[Moved, bytes]:
        """What this input's message moves, and by what is sent. Filters with state do not hear of it.

        Fresh ones are asked in their place. They do not know of earlier messages, so what counts is whether the resting
        value would undo it: a switch that latches, for one, is not pressed. What a filter holds back for a while stays
        as it is; that is empty here.
        """
        known = self.known[source].get(message)
        moved = self._led(source, message) if known is None else {move.moved: move.sent for move in known.moves}
        for path in self.called[source]:
            undone = self._moved_by((path.renewed(),), rest_of(message) or message)
            asked = self._moved_by((path.renewed(),), message)
            if any(link.passes_later for link in path.links):
                moved = dict.fromkeys(self._moved_by((path.renewed().open(),), message), b"") | moved
            moved.update({each: sent for each, sent in asked.items() if each in undone})
        return moved

    def shaped_by(self, hand: Hand) -> frozenset[Moved]:
        """All that shapes notes, and that this hand moves here with any of its pedals, wheels and faders."""
        shaped = self._shaped.get(hand)
        if shaped is None:
            source, channel = hand
            moves = (self.moves(source, bytes((each[0] | channel, *each[1:]))) for each in _SHAPES)
            shaped = self._shaped[hand] = frozenset(moved for each in moves for moved in each)
        return shaped

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this controller, bend or pressure here."""
        if is_press(message) or is_release(message):  # an answer to these does not say all that is made of them
            if moved in self._moved_by(self.lasting[source], message):
                return True
        else:
            known = self.known[source].get(message)
            if moved in (self._led(source, message) if known is None else [move.moved for move in known.moves]):
                return True
        # as in `moves`; for routes of every scene, which were not reset, the message counts, too
        for path in self.called[source]:
            asked = [rest] if (rest := rest_of(message)) else []
            if path.lasting:
                asked.append(message)
            if any(moved in self._moved_by((path.renewed().open(),), each) for each in asked):
                return True
        return False

    def _led(self, source: int, message: bytes) -> dict[Moved, bytes]:
        """What a message, no note, moves on its way along the lasting routes."""
        chains, places = self._memory.chains, self.places
        units: dict[tuple[int, Unit], None] = {}  # what would go twice to one output goes once
        for path in self.lasting[source]:
            unit = chains.run(path.links, message, self.faults)
            for output in path.outputs if unit else ():
                units[output, placed(output, unit, places) if places else unit] = None
        moved: dict[Moved, bytes] = {}
        for each in units:
            moved.update(_moved_by_unit(*each))
        return moved

    def _moved_by(self, paths: tuple[RoutePath, ...], message: bytes) -> dict[Moved, bytes]:
        """What this message moves on its way along these paths, now and later."""
        units, later = self._run(paths, message, 0)
        at_last = ((output, (timed.message,)) for timed in later for output in timed.outputs)
        units += tuple((output, placed(output, unit, self.places)) for output, unit in at_last)
        return {moved: sent for unit in units for moved, sent in _moved_by_unit(*unit).items()}

    def _work_out(self, source: int, message: bytes, now: int) -> RoutedMessage:
        worked_out = answer(source, message, self._run(self.lasting[source], message, now)[0])
        if len(message) <= 3:
            self._memory.keep(self.known[source], message, worked_out)
        return worked_out

    def _run(
        self, paths: tuple[RoutePath, ...], message: bytes, now: int, known: Given | None = None
    ) -> tuple[tuple[tuple[int, Unit], ...], tuple[TimedMessage, ...]]:
        """What is sent now, and what is sent later or kept back: that is placed when it is sent."""
        places = self.places
        units: list[tuple[int, Unit]] = []
        later: list[TimedMessage] = []
        for path in paths:
            given = known.get(id(path)) if known is not None else None
            if given is None:
                given = run_chain(path.links, message, now, self.faults)
                if known is not None:
                    known[id(path)] = given
            unit: Unit = ()
            for item in given:
                if isinstance(item, bytes):
                    unit += (item,)
                else:
                    later.append(TimedMessage(item.at, item.message, path.outputs, path.lasting))
            if unit:
                for output in path.outputs:
                    units.append((output, placed(output, unit, places) if places else unit))
        return tuple(units), tuple(later)


def side_by_side(
    by_source: Sequence[OpenRoutes | None], memory: AnswerMemory, faults: FilterFaults, places: Places
) -> OpenRoutes:
    """By input, these routes of several scenes; None leads nowhere. They go on remembering the same answers."""
    made = OpenRoutes((), (), memory, faults, places)
    found = [*enumerate(by_source)]
    made.lasting = tuple(routes.lasting[source] if routes is not None else () for source, routes in found)
    made.called = tuple(routes.called[source] if routes is not None else () for source, routes in found)
    made.known = tuple(routes.known[source] if routes is not None else {} for source, routes in found)
    return made


@lru_cache(maxsize=1 << 12)  # a scene change asks it of the places of pedals, wheels and faders
def _moved_by_unit(output: int, unit: Unit) -> Mapping[Moved, bytes]:
    return {each.moved: each.sent for each in moves_of(output, unit) + made_of(output, unit)}
