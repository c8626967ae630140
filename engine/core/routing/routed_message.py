"""What a scene answers to one message: what is sent where, and what must be remembered of it."""

from collections.abc import Container, Mapping
from typing import Final, NamedTuple

from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.output_cable import Unit
from engine.core.cable.replaceable_values import resets
from engine.core.routing.held_presses import Target, targets_of
from engine.core.routing.merged_messages import SentHigh, ends_notes, is_pedal, merged_of
from engine.core.routing.merged_pedals import PedalTurn, PedalTurns
from engine.core.routing.sent_values import (
    NOTHING_SENT,
    Move,
    Moved,
    Sent,
    hand_of,
    is_low,
    made_of,
    moves_of,
    position_of,
    sent_of,
)
from engine.core.routing.velocity_prefixes import is_prefix
from engine.midi.controllers import PARAMETERS
from engine.midi.kinds import CONTROLLER, is_press, is_release
from filters.registry import NEVER

PLAIN: Final = 0
PRESS: Final = 1
RELEASE: Final = 2

#: by output, what goes there
Units = tuple[tuple[int, Unit], ...]


class TimedMessage(NamedTuple):
    """A message for these outputs at a later time (ns); `lasting` if its route is in force in every scene."""

    at: int
    message: bytes
    outputs: tuple[int, ...]
    lasting: bool


class RoutedMessage:
    """The answer to one message: what is sent where, and what the ledger and the watch for loops must know of it.

    It is never changed. `noted`: whether there is anything beside notes to remember; `plain`: whether that is a
    position alone, of no pedal, that leaves nothing at rest.
    """

    __slots__ = (
        "announces",
        "held",
        "highs",
        "kind",
        "later",
        "merges",
        "moves",
        "noted",
        "others",
        "pedals",
        "plain",
        "position",
        "prefix",
        "said",
        "selects",
        "sent",
        "targets",
        "units",
    )

    def __init__(
        self,
        kind: int,
        units: Units,
        said: tuple[bytes, ...],  # the different messages among all units
        selects: bool,  # whether there are banks or programs among the units
        merges: bool,  # whether other players on the same channels may change what becomes of it
        highs: tuple[SentHigh, ...],  # the MSBs among the units, if nothing else is merged
        targets: tuple[Target, ...] = (),
        moves: tuple[Move, ...] = (),
        sent: Mapping[Moved, Sent] = NOTHING_SENT,  # those of the moves that are not to rest
        others: Units = (),  # for a release: the units without their note-offs
        later: tuple[TimedMessage, ...] = (),  # what is to be sent later
        held: tuple[TimedMessage, ...] = (),  # releases that a filter keeps back
        prefix: bool = False,  # it belongs to the velocity of the next note
        position: bytes = b"",  # what a hand or foot has left somewhere; see `position_of`
        announces: bool = False,  # it is part of a parameter, by which an MPE controller may announce a zone
        pedals: PedalTurns | None = None,  # if nothing else is sent
    ) -> None:
        self.kind, self.units, self.said, self.selects = kind, units, said, selects
        self.merges, self.highs, self.targets, self.moves = merges, highs, targets, moves
        self.sent, self.others, self.later, self.held = sent, others, later, held
        self.prefix, self.position, self.announces, self.pedals = prefix, position, announces, pedals
        self.noted = bool(moves or later or prefix or position or merges or announces)
        self.plain = (
            len(position) > 0
            and len(sent) == len(moves)
            and not (merges or later or prefix or is_low(position) or is_pedal(position))
        )


def answer(
    source: int, message: bytes, units: Units, timed: tuple[TimedMessage, ...] = (), now: int = 0
) -> RoutedMessage:
    """The answer made of these deliveries for a message of this input; what would go twice to one output goes once."""
    later = tuple(each for each in timed if each.at < NEVER) if timed else ()
    once = units if _all_differ(units) else tuple(dict.fromkeys(units))
    said = _said(once, later, now)
    selects, merges = False, True
    highs: tuple[SentHigh, ...] = ()
    for each in said:
        if selects_sound(each):
            selects = True
    if not (ends_notes(message) or resets(message)):
        merges, highs = merged_of(once)
    moves = _moves(once)
    if is_press(message):
        targets = _targets(once)
        sent = sent_of(source, message, moves)
        return RoutedMessage(PRESS, once, said, selects, merges, highs, targets, moves, sent, (), later)
    if is_release(message):
        without = [(output, tuple([item for item in unit if not is_release(item)])) for output, unit in once]
        others = tuple([each for each in without if each[1]])
        if others and _targets(once):  # a filter starts notes when a key is released: no key holds them
            moves += _made(others)
        held = tuple(each for each in timed if each.at >= NEVER) if timed else ()
        sent = sent_of(source, message, moves)
        return RoutedMessage(RELEASE, once, said, selects, merges, highs, (), moves, sent, others, later, held)
    moves += _made(once)
    prefix = is_prefix(message)
    place = position_of(message)
    sent = sent_of(source, message, moves)
    says = message[0] & 0xF0 == CONTROLLER and (message[1] in PARAMETERS or resets(message))
    pedals = _pedals(source, message, once) if merges and place and not (prefix or later or is_low(place)) else None
    return RoutedMessage(
        PLAIN, once, said, selects, merges, highs, (), moves, sent, (), later, (), prefix, place, says, pedals
    )


def _all_differ(units: Units) -> bool:
    """Whether it is clear at once that no delivery is there twice."""
    return len(units) < 2 or (len(units) == 2 and units[0][0] != units[1][0])


def _said(units: Units, later: tuple[TimedMessage, ...], now: int) -> tuple[bytes, ...]:
    """The different messages among these that go now."""
    if len(units) == 1 and len(units[0][1]) == 1 and not later:
        return units[0][1]
    said = {item: None for _, unit in units for item in unit}
    for each in later:
        if each.at <= now:
            said[each.message] = None
    return tuple(said)


def _moves(units: Units) -> tuple[Move, ...]:
    moves: tuple[Move, ...] = ()
    for output, unit in units:
        moves += moves_of(output, unit)
    return moves


def _made(units: Units) -> tuple[Move, ...]:
    moves: tuple[Move, ...] = ()
    for output, unit in units:
        moves += made_of(output, unit)
    return moves


def _targets(units: Units) -> tuple[Target, ...]:
    targets: tuple[Target, ...] = ()
    for output, unit in units:
        targets += targets_of(output, unit)
    return targets


def _pedals(source: int, came: bytes, units: Units) -> PedalTurns | None:
    """These pedals; None if there is anything else among the units."""
    if not units or not all(len(unit) == 1 and is_pedal(unit[0]) for _, unit in units):
        return None
    turns = tuple([PedalTurn(Moved(output, sent[:2]), (came, sent[2]), sent) for output, (sent,) in units])
    return PedalTurns(hand_of(source, came), turns)


def without(answer: RoutedMessage, shut: Container[int]) -> RoutedMessage:
    """What is left of an answer without these outputs; the ledger will not know of them either."""
    later = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.later)
    held = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.held)
    return RoutedMessage(
        answer.kind,
        tuple(each for each in answer.units if each[0] not in shut),
        answer.said,
        answer.selects,
        answer.merges,
        tuple(each for each in answer.highs if each[0][0] not in shut),
        tuple(target for target in answer.targets if target.output not in shut),
        tuple(each for each in answer.moves if each.moved.output not in shut),
        {moved: sent for moved, sent in answer.sent.items() if moved.output not in shut},
        tuple(each for each in answer.others if each[0] not in shut),
        tuple(each for each in later if each.outputs),
        tuple(each for each in held if each.outputs),
        answer.prefix,
        answer.position,
        answer.announces,
        _pedals_without(answer.pedals, shut),
    )


def _pedals_without(pedals: PedalTurns | None, shut: Container[int]) -> PedalTurns | None:
    left = tuple([each for each in pedals.turns if each.moved.output not in shut]) if pedals is not None else ()
    return PedalTurns(pedals.way.hand, left) if pedals is not None and left else None
