"""What a scene answers to one message: what is sent where, and what must be remembered of it."""

from collections.abc import Container, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from engine.core.cable.channel_sounds import selects_sound
from engine.core.cable.output_cable import Unit
from engine.core.cable.replaceable_values import resets
from engine.core.routing.held_presses import Target, targets_of
from engine.core.routing.merged_messages import SentHigh, ends_notes, is_pedal, merged_of
from engine.core.routing.merged_pedals import PedalHeld
from engine.core.routing.sent_values import (
    Channel,
    Hand,
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
from engine.midi.controllers import HOLDING, PARAMETERS
from engine.midi.kinds import CONTROLLER, is_press, is_release
from filters.registry import NEVER

PLAIN, PRESS, RELEASE = range(3)


class TimedMessage(NamedTuple):
    """A message for these outputs at a later time (ns); `lasting` if its route is in force in every scene."""

    at: int
    message: bytes
    outputs: tuple[int, ...]
    lasting: bool


class PedalTurn(NamedTuple):
    """A hand moves a pedal on a channel, to where it has `held` it then, and `sent` says so.

    `number`: its controller, if it holds notes.
    """

    moved: Moved
    hand: Hand
    held: PedalHeld
    sent: bytes
    channel: Channel
    number: int | None


@dataclass(slots=True)
class RoutedMessage:
    """The answer to one message: what is sent where, and what the ledger and the watch for loops must know of it.

    It is never changed; a frozen class would only take four times as long to make.
    """

    kind: int
    units: tuple[tuple[int, Unit], ...]
    targets: tuple[Target, ...]
    moves: tuple[Move, ...]
    sent: dict[Moved, Sent]  # those of the moves that are not to rest
    selects: bool  # whether there are banks or programs among the units
    said: tuple[bytes, ...]  # the different messages among all units
    others: tuple[tuple[int, Unit], ...]  # for a release: the units without their note-offs
    later: tuple[TimedMessage, ...] = ()  # what is to be sent later
    held: tuple[TimedMessage, ...] = ()  # releases that a filter keeps back
    merges: bool = False  # whether other players on the same channels may change what becomes of it
    highs: tuple[SentHigh, ...] = ()  # the MSBs among the units, if nothing else is merged
    prefix: bool = False  # it belongs to the velocity of the next note
    position: bytes = b""  # what a hand or foot has left somewhere; see `position_of`
    announces: bool = False  # it is part of a parameter, by which an MPE controller may announce a zone
    pedals: tuple[PedalTurn, ...] = ()  # if nothing else is sent
    noted: bool = field(init=False)  # whether there is anything beside notes to remember
    plain: bool = field(init=False)  # whether that is a position alone, of no pedal, that leaves nothing at rest

    def __post_init__(self) -> None:
        self.noted = bool(self.moves or self.later or self.prefix or self.position or self.merges or self.announces)
        whole = len(self.sent) == len(self.moves)
        rare = self.merges or self.later or self.prefix or is_low(self.position) or is_pedal(self.position)
        self.plain = bool(self.position) and whole and not rare


def answer(
    source: int, message: bytes, units: Sequence[tuple[int, Unit]], timed: tuple[TimedMessage, ...] = (), now: int = 0
) -> RoutedMessage:
    """The answer made of these deliveries for a message of this input; what would go twice to one output goes once."""
    later = tuple(each for each in timed if each.at < NEVER) if timed else ()
    once = tuple(dict.fromkeys(units)) if len(units) > 1 else tuple(units)
    targets: tuple[Target, ...] = ()
    moves: tuple[Move, ...] = ()
    for output, unit in once:
        targets += targets_of(output, unit)
        moves += moves_of(output, unit)
    merges, highs = (True, ()) if ends_notes(message) or resets(message) else merged_of(once)
    everything = [item for _, unit in once for item in unit]
    if later:
        everything += [each.message for each in later if each.at <= now]
    said = tuple(dict.fromkeys(everything))
    selects = any(map(selects_sound, said))
    if message[0] >= 0xF0 or not (is_press(message) or is_release(message)):
        moves += tuple(note for output, unit in once for note in made_of(output, unit))
        prefix = message[0] < 0xF0 and is_prefix(message)
        place = position_of(message)
        sent = sent_of(source, message, moves)
        says = message[0] & 0xF0 == CONTROLLER and (message[1] in PARAMETERS or resets(message))
        pedals = _pedals(source, message, once) if merges and place and not (prefix or later or is_low(place)) else ()
        return RoutedMessage(
            PLAIN, once, (), moves, sent, selects, said, (), later, (), merges, highs, prefix, place, says, pedals
        )
    if is_press(message):
        sent = sent_of(source, message, moves)
        return RoutedMessage(PRESS, once, targets, moves, sent, selects, said, (), later, (), merges, highs)
    without = ((output, tuple(item for item in unit if not is_release(item))) for output, unit in once)
    others = tuple((output, unit) for output, unit in without if unit)
    if targets:  # a filter starts notes when a key is released: no key holds them
        moves += tuple(note for output, unit in others for note in made_of(output, unit))
    held = tuple(each for each in timed if each.at >= NEVER)
    sent = sent_of(source, message, moves)
    return RoutedMessage(RELEASE, once, (), moves, sent, selects, said, others, later, held, merges, highs)


def _pedals(source: int, came: bytes, units: Sequence[tuple[int, Unit]]) -> tuple[PedalTurn, ...]:
    """These pedals; nothing if there is anything else among the units."""
    if not all(len(unit) == 1 and is_pedal(unit[0]) for _, unit in units):
        return ()
    hand = hand_of(source, came)
    return tuple(_pedal(hand, came, output, unit[0]) for output, unit in units)


def _pedal(hand: Hand, came: bytes, output: int, sent: bytes) -> PedalTurn:
    status, number, value = sent
    moved, channel = Moved(output, sent[:2]), (output, status & 0x0F)
    return PedalTurn(moved, hand, (came, value), sent, channel, number if number in HOLDING else None)


def without(answer: RoutedMessage, shut: Container[int]) -> RoutedMessage:
    """What is left of an answer without these outputs; the ledger will not know of them either."""
    later = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.later)
    held = (each._replace(outputs=tuple(o for o in each.outputs if o not in shut)) for each in answer.held)
    return replace(
        answer,
        units=tuple(each for each in answer.units if each[0] not in shut),
        targets=tuple(target for target in answer.targets if target.output not in shut),
        moves=tuple(each for each in answer.moves if each.moved.output not in shut),
        sent={moved: sent for moved, sent in answer.sent.items() if moved.output not in shut},
        others=tuple(each for each in answer.others if each[0] not in shut),
        later=tuple(each for each in later if each.outputs),
        held=tuple(each for each in held if each.outputs),
        highs=tuple(each for each in answer.highs if each.place[0] not in shut),
        pedals=tuple(each for each in answer.pedals if each.moved.output not in shut),
    )
