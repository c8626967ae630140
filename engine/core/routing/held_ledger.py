"""Remembers what sounds and what is off rest: where each press was sent, so that its release is sent there, too.

A release follows the record of its own press, whatever scene, transposition or zone is in force now. A key of an output
that two inputs hold sounds until both release it; the note-offs held back until then are sent with the last one, since
every note-on is owed its note-off (MIDI 1.0 p. A-4).

Pedals, bends, wheels, pressures and parameter numbers that left their resting value are remembered, so that a scene
that no longer feeds them can reset them (RP-015 for the resting values).
"""

from collections.abc import Callable, Collection, Container, Iterator, Mapping
from typing import Final, NamedTuple

from engine.core.routing.merged_pedals import MergedPedals
from engine.midi.controllers import HOLD_2, MSB_OF, SOSTENUTO, SUSTAIN
from engine.midi.kinds import (
    CONTROLLER,
    NOTE_OFF,
    NOTE_ON,
    POLY_AFTERTOUCH,
    is_press,
    is_release,
)
from engine.midi.rest_values import rest_of

#: entries of one key that are kept in order; beyond that those with the same targets are merged, so that no number of
#: presses without releases fills the memory
_MOST_ENTRIES: Final = 16
#: the numbers of the pedals under which notes may sound
_HOLDING: Final = frozenset(bytes((number,)) for number in (SUSTAIN, SOSTENUTO, HOLD_2))


class Target(NamedTuple):
    """Where a press went: output index, channel 0 to 15, key."""

    output: int
    channel: int
    key: int


class Moved(NamedTuple):
    """Something that can be off rest: output index, and the bytes that name it (status, and number or key)."""

    output: int
    what: bytes


def named(message: bytes) -> bytes:
    """The part of a message that says what it moves, without the value."""
    kind = message[0] & 0xF0
    if kind == CONTROLLER:
        return bytes((message[0], MSB_OF.get(message[1], message[1])))
    return message[:2] if kind == POLY_AFTERTOUCH else message[:1]


class _Press:
    """Presses of one key of one input that went to the same targets."""

    __slots__ = ("count", "targets")

    def __init__(self, targets: tuple[Target, ...]) -> None:
        self.targets = targets
        self.count = 1

    def is_among(self, outputs: Collection[int]) -> bool:
        """Whether it sounds at these outputs, and at no others."""
        return bool(self.targets) and all(target.output in outputs for target in self.targets)


class Ledger:
    """Loop only. Inputs are indices."""

    def __init__(self, each_press: bool = False) -> None:
        """`each_press`: see `Silencing`."""
        self._each_press = each_press
        self._presses: dict[tuple[int, int, int], list[_Press]] = {}  # (input, channel, key) -> oldest first
        self._holders: dict[Target, dict[int, int]] = {}  # input -> presses it still holds
        self._owed: dict[Target, int] = {}  # releases held back
        self._moved: dict[Moved, tuple[int, bytes]] = {}  # -> the input that moved it last, and with what
        self.pedals = MergedPedals()

    # Notes

    def press(self, source: int, message: bytes, targets: tuple[Target, ...]) -> None:
        """A note-on of this input was sent to these targets (none, if no route took it)."""
        key = (source, message[0] & 0x0F, message[1])
        presses = self._presses.get(key)
        if presses is None:
            self._presses[key] = [_Press(targets)]
        elif presses[-1].targets == targets:
            presses[-1].count += 1
        else:
            presses.append(_Press(targets))
            if len(presses) > _MOST_ENTRIES:
                _merge(presses)
        for target in targets:
            holders = self._holders.get(target)
            if holders is None:
                self._holders[target] = {source: 1}
            else:
                holders[source] = holders.get(source, 0) + 1

    def release(
        self,
        source: int,
        message: bytes,
        kept: Mapping[Target, int] | None = None,
        among: Collection[int] | None = None,
    ) -> list[tuple[int, bytes]] | None:
        """The note-offs that a release causes, as (output, message); None if its press is not in the ledger.

        `kept`: where the note goes on sounding, and which input holds it there from now on; `among`: the outputs of the
        press, if it is known.
        """
        key = (source, message[0] & 0x0F, message[1])
        presses = self._presses.get(key)
        if presses is None:
            return None
        oldest = presses[0]
        if not oldest.targets:
            # its release may have been lost, so it must not be released in place of one that sounds
            oldest = next((press for press in presses if press.targets), oldest)
        if among is not None:
            oldest = next((press for press in presses if press.is_among(among)), oldest)
        oldest.count -= 1
        if not oldest.count:
            presses.remove(oldest)
            if not presses:
                del self._presses[key]
        form, velocity = message[0] & 0xF0, message[2]
        sent: list[tuple[int, bytes]] = []
        for target in oldest.targets if kept is None else self._hand_over(source, oldest.targets, kept):
            output, channel, number = target
            off = bytes((form | channel, number, velocity))
            count = self._end_press(source, target)
            sent += [(output, off)] if count == 1 else [(output, off)] * count
        return sent

    def _hand_over(self, source: int, targets: tuple[Target, ...], kept: Mapping[Target, int]) -> list[Target]:
        """Other inputs hold these from now on; the targets that are left."""
        given: dict[tuple[int, int, int], tuple[Target, ...]] = {}
        for target in targets:
            if target in kept:
                holder = (kept[target], target.channel, target.key)
                given[holder] = (*given.get(holder, ()), target)
                holders = self._holders.setdefault(target, {})
                left = holders.pop(source, 1) - 1
                if left:
                    holders[source] = left
                holders[holder[0]] = holders.get(holder[0], 0) + 1
        for holder, together in given.items():
            self._presses.setdefault(holder, []).append(_Press(together))
            _merge(self._presses[holder])
        return [target for target in targets if target not in kept]

    def _end_press(self, source: int, target: Target) -> int:
        """One press of this input ends at a target; how many note-offs the output gets for it.

        It is no longer counted there if All Notes Off has ended it before.
        """
        holders = self._holders.get(target, {})
        left = holders.pop(source, 1) - 1
        if left:
            holders[source] = left
        if not holders:
            self._holders.pop(target, None)
            return 1 + self._owed.pop(target, 0)
        if len(holders) - (source in holders):
            self._owed[target] = self._owed.get(target, 0) + 1
            return 0
        return 1

    def end(
        self, players: Container[int], ends: Callable[[tuple[int, int, int], Target], bool]
    ) -> Iterator[tuple[int, bytes]]:
        """Note-offs, velocity 64, for these players' presses at some of their targets; what releases them sends none.

        `ends` is asked with an input's key (input, channel, key) and one of its targets.
        """
        ended: dict[tuple[int, Target], int] = {}
        for key, presses in self._presses.items():
            if key[0] not in players:
                continue
            for press in presses:
                gone = {target for target in press.targets if ends(key, target)}
                press.targets = tuple(target for target in press.targets if target not in gone)
                for target in gone:
                    ended[key[0], target] = ended.get((key[0], target), 0) + press.count
            _merge(presses)
        for (source, target), count in ended.items():
            holders = self._holders.get(target, {})
            if source in holders:
                holders[source] -= min(holders[source], count) - 1  # one note-off, however often it was pressed
            if self._end_press(source, target):
                yield target.output, bytes((NOTE_OFF | target.channel, target.key, 64))

    def end_silently(self, players: Container[int], output: int, channel: int) -> None:
        """The channel was told to end all that these players, and nobody else, hold there.

        What releases them is sent nevertheless: a receiver may ignore All Notes Off (MIDI 1.0 p. 24).
        """
        for target in [each for each in self._holders if each[:2] == (output, channel)]:
            holders = self._holders[target]
            for player in [each for each in holders if each in players]:
                del holders[player]
            if not holders:
                del self._holders[target]

    def others_sound(self, players: Container[int], output: int, channel: int) -> bool:
        """Whether anybody else holds a key, or a pedal that may hold notes, on a channel of an output."""
        holding = [holders for target, holders in self._holders.items() if target[:2] == (output, channel)]
        for moved, movers in self._movers_on(output, channel):
            if moved.what[0] & 0xF0 == NOTE_ON:
                holding.append(dict.fromkeys(movers, 1))
            elif moved.what[1:] in _HOLDING:
                holding.append(dict.fromkeys(self.pedals.players(moved), 1))
        return any(holder not in players for holders in holding for holder in holders)

    def is_down(self, source: int, message: bytes) -> bool:
        """Whether this is the release or the pressure of a key of this input whose press is in the ledger."""
        if message[0] & 0xF0 != POLY_AFTERTOUCH and not is_release(message):
            return False
        return (source, message[0] & 0x0F, message[1]) in self._presses

    def held_elsewhere(self, source: int, target: Target) -> bool:
        """Whether an input other than this one holds the target's key."""
        holders = self._holders.get(target)
        return holders is not None and any(other != source for other in holders)

    def sounding(self) -> int:
        """How many keys of outputs are sounding."""
        return len(self._holders)

    def cut(self, output: int | None = None, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """Note-offs, velocity 64 (MIDI 1.0 p. 10), for all that sounds, which then counts as silent.

        All that sounds on one output, if it is given; with `channel` (0 to 15) too, on that channel of it.
        """

        def ends(target: Target) -> bool:
            return (output is None or target.output == output) and (channel is None or target.channel == channel)

        gone = [target for target in self._holders if ends(target)]
        for presses in self._presses.values():
            # its release comes later, and must not cut what is played there then
            for press in presses:
                press.targets = tuple(each for each in press.targets if not ends(each))
            _merge(presses)
        for target in gone:
            count = sum(self._holders.pop(target).values()) + self._owed.pop(target, 0)
            off = bytes((NOTE_OFF | target.channel, target.key, 64))
            yield from [(target.output, off)] * (count if self._each_press else 1)

    def forget_keys(self) -> None:
        """No key of any input counts as down: what sounded was cut, and a lost release must not matter later."""
        self._presses.clear()

    # What was moved off rest

    def move(self, source: int, message: bytes, moves: tuple[tuple[Moved, bool], ...]) -> None:
        """This input's message was sent and moved these; each flag says whether that was to its resting value."""
        for moved, at_rest in moves:
            if at_rest:
                self._moved.pop(moved, None)
            else:
                self._moved[moved] = (source, message)

    def settle(self, still_fed: Callable[[int, bytes, Moved], bool]) -> Iterator[tuple[int, bytes]]:
        """The resting values, as (output, message), of everything that is off rest and not `still_fed`.

        A pedal that only some of its players still feed takes the highest of their values.
        """
        for moved in list(self._moved):
            movers = self._movers(moved)
            staying = {source: it for source, it in movers.items() if still_fed(source, it, moved)}
            if not staying:
                self.pedals.forget(moved)
                del self._moved[moved]
                yield moved.output, _resting(moved)
            elif len(staying) < len(movers):
                value = self.pedals.leave(moved, movers.keys() - staying)
                self._moved[moved] = next(iter(staying.items()))
                if value is not None:
                    yield moved.output, moved.what + bytes((value,))

    def _movers(self, moved: Moved) -> Mapping[int, bytes]:
        """By input, the message with which it has moved this: of a pedal all that hold it, else the last one."""
        return self.pedals.players(moved) or dict((self._moved[moved],))

    def _movers_on(self, output: int, channel: int) -> Iterator[tuple[Moved, Mapping[int, bytes]]]:
        for moved in list(self._moved):
            if moved.output == output and moved.what[0] & 0x0F == channel:
                yield moved, self._movers(moved)

    def others_moved(self, players: Container[int], output: int, channel: int) -> bool:
        """Whether anything on a channel of an output is off rest that anybody else has moved."""
        return any(mover not in players for _, movers in self._movers_on(output, channel) for mover in movers)

    def rests_of(self, source: int, output: int, channel: int) -> list[bytes]:
        """What sets to rest all that this input has moved on a channel of an output, notes aside."""
        return [
            _resting(moved)
            for moved, movers in self._movers_on(output, channel)
            if source in movers and moved.what[0] & 0xF0 != NOTE_ON
        ]

    def abandon(self, source: int) -> Iterator[tuple[int, bytes]]:
        """Ends what one input holds, as (output, message): note-offs, velocity 64, and resting values."""
        if not self._each_press:
            self._hold_once(source)
        for _, channel, key in [held for held in self._presses if held[0] == source]:
            off = bytes((NOTE_OFF | channel, key, 64))
            while (offs := self.release(source, off)) is not None:
                yield from offs if self._each_press else dict.fromkeys(offs)
        yield from self.settle(lambda mover, *_: mover != source)

    def _hold_once(self, source: int) -> None:
        """From now on this input holds each target as if it had been pressed once."""
        once: set[Target] = set()
        for key in [held for held in self._presses if held[0] == source]:
            targets = dict.fromkeys(target for press in self._presses[key] for target in press.targets)
            self._presses[key] = [_Press(tuple(target for target in targets if target not in once))]
            once.update(targets)
        for target in once:
            self._holders.setdefault(target, {})[source] = 1

    def settle_output(self, output: int, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """The resting values of everything that is off rest on one output, or on one channel (0 to 15) of it."""

        def stays(source: int, message: bytes, moved: Moved) -> bool:
            return moved.output != output or (channel is not None and moved.what[0] & 0x0F != channel)

        return self.settle(stays)

    def off_rest(self) -> int:
        """How many pedals, bends, wheels and pressures are off rest."""
        return len(self._moved)


def _merge(presses: list[_Press]) -> None:
    """Presses that went to the same targets become one entry, in the place of the oldest."""
    entries: dict[tuple[Target, ...], _Press] = {}
    for press in presses:
        if entries.setdefault(press.targets, press) is not press:
            entries[press.targets].count += press.count
    presses[:] = entries.values()


def _resting(moved: Moved) -> bytes:
    if moved.what[0] & 0xF0 == NOTE_ON:
        return bytes((NOTE_OFF | moved.what[0] & 0x0F, moved.what[1], 64))
    padded = moved.what + bytes(2)
    rest = rest_of(padded[:3])
    assert rest is not None  # only what has a resting value is remembered
    return rest


def targets_of(output: int, messages: tuple[bytes, ...]) -> tuple[Target, ...]:
    """The keys that these note-ons press on an output."""
    return tuple(Target(output, m[0] & 0x0F, m[1]) for m in messages if m[0] & 0xF0 == NOTE_ON and is_press(m))


def moves_of(output: int, messages: tuple[bytes, ...]) -> tuple[tuple[Moved, bool], ...]:
    """What these messages move on an output, each with whether that is to its resting value."""
    return tuple(
        (Moved(output, named(message)), message == rest)
        for message in messages
        if (rest := rest_of(message)) is not None
    )


def made_of(output: int, messages: tuple[bytes, ...]) -> tuple[tuple[Moved, bool], ...]:
    """Notes that a filter made from a pedal, a clock or the like: no key holds them, so they count as off rest."""
    return tuple(
        (Moved(output, bytes((NOTE_ON | message[0] & 0x0F, message[1]))), is_release(message))
        for message in messages
        if message[0] & 0xE0 == NOTE_OFF  # note-off or note-on
    )
