"""What a scene answers to one message: what is sent where, and what must be remembered of it."""

from collections.abc import Container, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from engine.core.cable.output_cable import Unit
from engine.core.cable.replaceable_values import resets
from engine.core.routing.held_ledger import Target, selects_of, targets_of
from engine.core.routing.told_values import Channel, Move, made_of, moves_of, position_of
from engine.midi.controllers import HOLDING
from engine.midi.kinds import CONTROLLER, is_press, is_release

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
    moves: tuple[Move, ...]
    selects: tuple[tuple[int, Unit], ...]  # bank and program messages by output
    said: tuple[bytes, ...]  # the different messages among all units
    others: tuple[tuple[int, Unit], ...]  # for a release: the units without their note-offs
    later: tuple[TimedMessage, ...] = ()  # what is to be sent later
    position: bytes = b""  # what a hand or foot has left somewhere; see `position_of`
    resets: tuple[Channel, ...] = ()  # where all controllers are reset
    pedals: bool = field(init=False)  # whether a pedal that holds notes is among the moves
    noted: bool = field(init=False)  # whether there is anything beside notes to remember

    def __post_init__(self) -> None:
        self.pedals = any(move.sent[0] & 0xF0 == CONTROLLER and move.sent[1] in HOLDING for move in self.moves)
        self.noted = bool(self.moves or self.selects or self.later or self.position or self.resets)


def answer(message: bytes, units: Sequence[tuple[int, Unit]], later: tuple[TimedMessage, ...] = ()) -> RoutedMessage:
    """The answer made of these deliveries; what would go twice to one output goes once."""
    once = tuple(dict.fromkeys(units))
    targets: tuple[Target, ...] = ()
    moves: tuple[Move, ...] = ()
    for output, unit in once:
        targets += targets_of(output, unit)
        moves += moves_of(output, unit)
    selects = tuple((output, found) for output, unit in once if (found := selects_of(unit)))
    said = tuple(dict.fromkeys(item for _, unit in once for item in unit))
    if message[0] >= 0xF0 or not (is_press(message) or is_release(message)):
        moves += tuple(note for output, unit in once for note in made_of(output, unit))
        reset = tuple((output, each[0] & 0x0F) for output, unit in once for each in unit if resets(each))
        return RoutedMessage(PLAIN, once, (), moves, selects, said, (), later, position_of(message), reset)
    if is_press(message):
        return RoutedMessage(PRESS, once, targets, moves, selects, said, (), later)
    without = ((output, tuple(item for item in unit if not is_release(item))) for output, unit in once)
    others = tuple((output, unit) for output, unit in without if unit)
    if targets:  # a filter starts notes when a key is released: no key holds them
        moves += tuple(note for output, unit in others for note in made_of(output, unit))
    return RoutedMessage(RELEASE, once, (), moves, selects, said, others, later)


def without(answer: RoutedMessage, shut: Container[int]) -> RoutedMessage:
    """What is left of an answer without these outputs; the ledger will not know of them either."""
    timed = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.later)
    return replace(
        answer,
        units=tuple(each for each in answer.units if each[0] not in shut),
        targets=tuple(target for target in answer.targets if target.output not in shut),
        moves=tuple(each for each in answer.moves if each.moved.output not in shut),
        selects=tuple(each for each in answer.selects if each[0] not in shut),
        others=tuple(each for each in answer.others if each[0] not in shut),
        resets=tuple(each for each in answer.resets if each[0] not in shut),
        later=tuple(each for each in timed if each.outputs),
    )
