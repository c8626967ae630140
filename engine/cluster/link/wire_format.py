"""The format of network messages: events of an input, and orders for an output.

Everything that one turn of the loop has for a port is sent together. A long SysEx is sent by itself at a lower
priority, and has no number, since later messages may overtake it. Whatever arrives is checked whole when it is read:
what is kept of it has been understood to its end.
"""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from engine.core.cable.output_cable import BurstUnit
from engine.core.cable.receiver_state import ReceiverState
from engine.core.cable.remote_cable import Order, OrderKind
from engine.core.varint import Packer, Unpacker
from engine.midi.kinds import is_whole

_EVENTS: Final = 1  # the format
_ORDERS: Final = 2
_ALONE: Final = 1  # a flag: the content has no number
_OWNED_BURST: Final = 6  # what a burst of a player is packed as; those of the rest of the rig name nobody
_LASTING: Final = 1  # flags of a step
_ALWAYS: Final = 2
_CHOOSES: Final = 4
_IS_PART: Final = 8  # the messages of the whole sound follow its own
_LONG: Final = 1024  # bytes of a message that is sent by itself
_LARGEST: Final = 1 << 63  # of numbers and times
_LONGEST: Final = 60_000_000_000  # ns of a settle time, as in a rig file
_TOO_MANY: Final = "there is more than can be sent together"
_TOGETHER: Final = 50  # events or orders of one network message

Stamped = tuple[int, bytes]  # when it arrived (ns), message
Put = tuple[bytes, bool]  # what to send, and whether at a lower priority


class EventBatch(NamedTuple):
    """Messages of one input. `stream` differs at each start of the sender; `first`: the number of the first, or None.

    Times are in ns of the sender's monotonic clock.
    """

    stream: int
    first: int | None
    events: list[Stamped]


class OrderBatch(NamedTuple):
    """Orders for one output in an epoch; `first`: the number of the first, or None."""

    epoch: int
    first: int | None
    orders: list[Order]


class EventSender:
    """Numbers and packs the messages of one input."""

    def __init__(self, stream: int) -> None:
        """`stream`: any number that no earlier start had, up to 32 bits."""
        self._stream = stream
        self._next = 0

    def skip(self) -> None:
        """A message was lost before it was numbered: whoever hears the next one finds a gap."""
        self._next += 1

    def packs(self, events: Sequence[Stamped]) -> Iterator[Put]:
        """What to send, in this order."""
        short = [event for event in events if len(event[1]) <= _LONG]
        for begin in range(0, len(short), _TOGETHER):
            part = short[begin : begin + _TOGETHER]
            yield _pack_events(self._stream, self._next, part), False
            self._next += len(part)
        for event in events:
            if len(event[1]) > _LONG:
                yield _pack_events(self._stream, None, [event]), True


class OrderSender:
    """Numbers and packs the orders for one output in one epoch."""

    def __init__(self, epoch: int) -> None:
        self._epoch = epoch
        self._next = 0

    def packs(self, orders: Sequence[Order]) -> Iterator[Put]:
        """What to send, in this order."""
        short = [order for order in orders if not _goes_alone(order)]
        for begin in range(0, len(short), _TOGETHER):
            part = short[begin : begin + _TOGETHER]
            yield _pack_orders(self._epoch, self._next, part), False
            self._next += len(part)
        for order in orders:
            if _goes_alone(order):
                yield _pack_orders(self._epoch, None, [order]), True


def pack_give(epoch: int, to: str) -> bytes:
    """The order that lets another engine claim the outputs. It has no number, and may be sent again."""
    return _pack_orders(epoch, None, [Order(OrderKind.GIVE, (to.encode(),))])


def _goes_alone(order: Order) -> bool:
    return order.do == OrderKind.UNIT and any(len(message) > _LONG for message in order.messages)


def _begun(version: int, first: int | None) -> Packer:
    packer = Packer()
    packer.number(version)
    packer.number(_ALONE if first is None else 0)
    packer.number(first or 0)
    return packer


def _opened(payload: bytes, version: int) -> tuple[Unpacker, int | None]:
    unpacker = Unpacker(payload)
    if unpacker.number() != version:
        raise ValueError("another version of Bayleaf sent it: install the same one on all machines")
    alone, first = unpacker.number() & _ALONE, _number(unpacker)
    return unpacker, None if alone else first


def _number(unpacker: Unpacker) -> int:
    found = unpacker.number()
    if found >= _LARGEST:
        raise ValueError("a number is too large")
    return found


def _most(first: int | None) -> int:
    return 1 if first is None else _TOGETHER


def _pack_events(stream: int, first: int | None, events: Sequence[Stamped]) -> bytes:
    packer = _begun(_EVENTS, first)
    packer.number(stream)
    since = events[0][0]
    packer.number(since)
    for at, message in events:
        packer.number(max(0, at - since))
        packer.octets(message)
    return bytes(packer.data)


def read_events(payload: bytes) -> EventBatch:
    """The events of a network message. Raises ValueError if it has another format."""
    unpacker, first = _opened(payload, _EVENTS)
    stream, since = _number(unpacker), _number(unpacker)
    events: list[Stamped] = []
    most = _most(first)
    while unpacker.more:
        if len(events) == most:
            raise ValueError(_TOO_MANY)
        at = since + unpacker.number()
        events.append((at, _message(unpacker)))
    return EventBatch(stream, first, events)


def _pack_orders(epoch: int, first: int | None, orders: Sequence[Order]) -> bytes:
    packer = _begun(_ORDERS, first)
    packer.number(epoch)
    for order in orders:
        packer.number(_OWNED_BURST if order.player else order.do)
        if order.do == OrderKind.BURST:
            if order.player:
                packer.octets(order.player.encode())
            packer.number(len(order.steps))
            for step in order.steps:
                packer.number(step.channel)
                packer.number(step.settle)
                flags = step.lasting * _LASTING | step.always * _ALWAYS | step.chooses * _CHOOSES
                packer.number(flags | bool(step.sound) * _IS_PART)
                _pack_messages(packer, step.unit)
                if step.sound:
                    _pack_messages(packer, step.sound)
        else:
            _pack_messages(packer, order.messages)
    return bytes(packer.data)


def read_orders(payload: bytes) -> OrderBatch:
    """The orders of a network message. Raises ValueError if it has another format."""
    unpacker, first = _opened(payload, _ORDERS)
    epoch = _number(unpacker)
    orders: list[Order] = []
    most = _most(first)
    while unpacker.more:
        if len(orders) == most:
            raise ValueError(_TOO_MANY)
        orders.append(_order(unpacker))
    return OrderBatch(epoch, first, orders)


def _order(unpacker: Unpacker) -> Order:
    kind = unpacker.number()
    do = OrderKind.BURST if kind == _OWNED_BURST else OrderKind(kind)
    if do == OrderKind.BURST:
        player = unpacker.octets().decode() if kind == _OWNED_BURST else ""
        steps = tuple(_step(unpacker)._replace(player=player) for _ in range(unpacker.number()))
        return Order(do, steps=steps, player=player)
    if do == OrderKind.STATE:
        return Order(do, _snapshots(unpacker))
    if do == OrderKind.GIVE:
        if unpacker.number() != 1:
            raise ValueError("expected one name")
        name = unpacker.octets()
        name.decode()
        return Order(do, (name,))
    messages = _messages(unpacker)
    if not messages:
        raise ValueError("nothing to send")
    return Order(do, messages)


def _snapshots(unpacker: Unpacker) -> tuple[bytes, ...]:
    many = unpacker.number()
    if many not in (1, 2):
        raise ValueError("expected one snapshot or two")
    found = tuple(unpacker.octets() for _ in range(many))
    for each in found:
        ReceiverState.read(0, each)
    return found


def _step(unpacker: Unpacker) -> BurstUnit:
    channel, settle, flags = unpacker.number(), unpacker.number(), unpacker.number()
    unit = _messages(unpacker)
    if channel > 15 or settle > _LONGEST or not unit:
        raise ValueError("expected a channel from 0 to 15, a settle time of at most 60 s, and at least one message")
    lasting, always, chooses = (bool(flags & each) for each in (_LASTING, _ALWAYS, _CHOOSES))
    sound = _messages(unpacker) if flags & _IS_PART else ()
    return BurstUnit(channel, unit, settle, lasting, always, chooses, sound)


def _pack_messages(packer: Packer, messages: Sequence[bytes]) -> None:
    packer.number(len(messages))
    for message in messages:
        packer.octets(message)


def _messages(unpacker: Unpacker) -> tuple[bytes, ...]:
    return tuple(_message(unpacker) for _ in range(unpacker.number()))


def _message(unpacker: Unpacker) -> bytes:
    message = unpacker.octets()
    if not is_whole(message):
        raise ValueError("not a whole message")
    return message
